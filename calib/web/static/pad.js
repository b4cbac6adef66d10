// A pad of large digits for fingers with chalk on them; the phone's own keyboard then stays away.
import { button } from "/static/page.js";

const KEYS = ["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0", "⌫"];

export function drawPad(place, input) {
  const shown = () => {
    const usual = matchMedia("(pointer: coarse)").matches ? "yes" : "no";
    place.hidden = (localStorage.getItem("pad") ?? usual) !== "yes";
    input.inputMode = place.hidden ? "decimal" : "none";
  };
  place.replaceChildren(...KEYS.map((key) => {
    const made = button(key, () => (input.value = key === "⌫" ? input.value.slice(0, -1) : input.value + key));
    if (key === "⌫") made.setAttribute("aria-label", "Delete the last digit");
    return made;
  }));
  addEventListener("switched", shown);
  shown();
}
