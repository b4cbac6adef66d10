// The readings so far; tap one to change it, to strike it, or to have it measured again behind the others.
import { button } from "/static/page.js";

let editing = 0; // number of the row that is open
let drawn = "";

export function drawRows(place, now, send) {
  const wanted = JSON.stringify([now.rows, now.writes, editing]);
  if (wanted === drawn) return; // what is being typed stays
  drawn = wanted;
  const again = () => ((drawn = ""), drawRows(place, now, send));
  place.replaceChildren(...now.rows.slice().reverse().map((row) => rowOf(row, now.writes, send, again)));
}

function rowOf(row, writes, send, again) {
  const made = document.createElement("li");
  made.value = row.number;
  made.className = row.struck ? "struck" : "";
  const words = document.createElement("span");
  words.textContent = row.words;
  made.append(words);
  if (!writes || !row.may_strike) return made;
  const open = editing === row.number;
  const toggle = button(open ? "Leave it" : "Change", () => ((editing = open ? 0 : row.number), again()), "small");
  toggle.setAttribute("aria-label", `${open ? "Leave" : "Change"} row ${row.number}: ${row.words}`);
  toggle.setAttribute("aria-expanded", open);
  made.append(toggle);
  if (open) made.append(editor(row, (entry) => ((editing = 0), again(), send({ entry }))));
  return made;
}

function editor(row, tell) {
  const made = document.createElement("form");
  made.className = "row edit";
  if (row.may_change) {
    const label = document.createElement("label");
    const input = document.createElement("input");
    Object.assign(input, { id: "better", inputMode: "decimal", maxLength: 60, required: true, autocomplete: "off" });
    label.htmlFor = "better";
    label.textContent = "It should be";
    const save = button("Save", () => {}, "first");
    save.type = "submit";
    made.append(label, input, save);
    made.addEventListener("submit", (event) => (event.preventDefault(), tell(`change ${row.number} ${input.value}`)));
    setTimeout(() => input.focus());
  }
  if (row.may_again) made.append(button("Measure it again later", () => tell(`again ${row.number} on the page`)));
  made.append(button("Strike it", () => tell(`strike ${row.number} struck on the page`)));
  return made;
}
