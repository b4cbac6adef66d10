// The recording's page made livelier: a number pad, a countdown, and what other browsers enter, shown at once.
// Every word and number comes from the server; without this script the same page works by its forms.
import { drawCurve } from "/static/curve.js";
import { bell, speak } from "/static/signals.js";

const root = document.getElementById("recording");
const address = root.dataset.address;
const find = (id) => document.getElementById(id);
let seen = { version: -1 };
let waitEnds = 0;
let heldFrom = 0;
let timer = 0;
let sending = null; // the entry that is not acknowledged yet

function show(now) {
  if (now.version < seen.version) return;
  const moved = JSON.stringify(now.asks) !== JSON.stringify(seen.asks);
  seen = now;
  if (!now.asks) {
    if (find("entry")) location.reload();
    return;
  }
  if (!find("entry")) return location.reload();
  const asks = now.asks;
  find("task").textContent = asks.task;
  find("place").textContent = asks.place;
  find("aside").textContent = asks.aside;
  document.querySelector("label[for=value]").textContent = asks.label;
  find("progress").textContent = asks.number ? `reading ${asks.number} of ${asks.of}, cycle ${asks.cycle}` : "";
  find("say").replaceChildren(...now.say.map((words) => paragraph(words, now.question ? "doubt" : "")));
  showButtons(now);
  find("rows").replaceChildren(...now.rows.slice().reverse().map(rowOf));
  drawCurve(find("curve"), now.points, now.span);
  if (moved && now.writes) beginWait(asks);
  if (moved) speak(`${asks.task}. ${asks.place}`);
}

function paragraph(words, kind) {
  const made = document.createElement("p");
  made.textContent = words;
  made.className = kind;
  return made;
}

function rowOf(row) {
  const made = document.createElement("li");
  made.value = row.number;
  made.className = row.struck ? "struck" : "";
  const words = document.createElement("span");
  words.textContent = row.words;
  made.append(words);
  if (!row.struck && seen.writes && !row.words.startsWith("gap")) {
    const change = document.createElement("button");
    change.type = "button";
    change.className = "small";
    change.textContent = "Strike";
    change.setAttribute("aria-label", `Strike row ${row.number}: ${row.words}`);
    change.addEventListener("click", () => {
      if (confirm(`Strike "${row.words}"? It stays in the file, but no longer counts.`))
        send({ entry: `strike ${row.number} struck on the page` });
    });
    made.append(change);
  }
  return made;
}

function showButtons(now) {
  const buttons = [];
  if (now.question) buttons.push(button("It is right, keep it", { entry: "keep" }, true));
  if (now.writes) {
    if (now.rows.length) buttons.push(button("Undo", { entry: "undo" }));
    buttons.push(button("Skip", { entry: "skip" }), button("Finish early", { entry: "stop" }));
    buttons.push(button(timer || waitEnds ? "Pause" : "Start the wait", null));
  } else buttons.push(button("Write from here", { pen: "take" }, true));
  find("other").replaceChildren(...buttons);
  find("value").disabled = find("take").disabled = !now.writes;
}

function button(words, fields, first = false) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = words;
  made.className = first ? "first" : "";
  made.addEventListener("click", () => (fields ? send(fields) : pauseOrGo()));
  return made;
}

// --- entries: named, so that one sent twice counts once; kept until the server says that it is on the disk

function send(fields) {
  sending = { id: newName(), ...fields };
  if (heldFrom) sending.held_s = ((Date.now() - heldFrom) / 1000).toFixed(1);
  deliver(sending);
}

// crypto.randomUUID exists only where the address is trusted, and a phone's is not
function newName() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}

async function deliver(fields) {
  try {
    const answer = await fetch(address, {
      method: "POST",
      headers: { "content-type": "application/json", accept: "application/json" },
      body: JSON.stringify(fields),
    });
    const found = await answer.json();
    if (sending !== fields) return;
    sending = null;
    if (!answer.ok) return complain(found.error);
    find("value").value = "";
    show(found);
  } catch {
    complain("No connection. Your entry is kept here and sent when the connection is back.");
    setTimeout(() => sending === fields && deliver(fields), 1000);
  }
}

function complain(words) {
  find("say").replaceChildren(paragraph(words, "doubt"));
}

// --- the wait before a reading: time to move, then time to hold

function beginWait(asks) {
  stopWait();
  if (!asks.hold_s) return;
  const moves = Date.now() + 1000 * asks.move_s;
  waitEnds = moves + 1000 * asks.hold_s;
  heldFrom = moves;
  timer = setInterval(() => tick(moves), 200);
  tick(moves);
}

function tick(moves) {
  const now = Date.now();
  const wait = find("wait");
  if (now < moves) wait.textContent = `Move: ${Math.ceil((moves - now) / 1000)}`;
  else if (now < waitEnds) wait.textContent = `Hold still: ${Math.ceil((waitEnds - now) / 1000)}`;
  else {
    wait.textContent = "Read now";
    clearInterval(timer);
    timer = waitEnds = 0;
    bell();
    speak("Read now");
    showButtons(seen);
  }
  wait.className = now < moves ? "wait" : now < waitEnds ? "wait hold" : "wait read";
}

function stopWait() {
  clearInterval(timer);
  timer = waitEnds = heldFrom = 0;
  find("wait").textContent = "";
}

function pauseOrGo() {
  if (timer) {
    stopWait();
    find("wait").textContent = "Paused";
  } else beginWait(seen.asks);
  showButtons(seen);
}

// --- start

if (find("entry")) {
  find("entry").addEventListener("submit", (event) => {
    event.preventDefault();
    const typed = find("value").value.trim();
    if (typed) send({ entry: typed });
    else beginWait(seen.asks);
  });
}
const stream = new EventSource(`${address}/live`);
stream.addEventListener("message", (event) => show(JSON.parse(event.data)));
