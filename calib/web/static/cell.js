// A load cell's newest value, what is waited for, and the pull over the last twenty seconds.
import { button, find } from "/static/page.js";

const SPAN_S = 20, W = 640, H = 160;
const KEYS = [["Take it now (Enter)", "enter"], ["Again (r)", "undo"], ["New zero (z)", "zero"], ["Skip (s)", "skip"], ["Finish (q)", "stop"]];
let points = [];

export function showValue(now) {
  find("pull").textContent = now.value;
  find("doing").textContent = now.doing;
  if (now.number === null) return;
  points.push([now.at_s, now.number]);
  points = points.filter(([at]) => now.at_s - at < SPAN_S);
  const most = Math.max(1, ...points.map((p) => p[1])), least = Math.min(0, ...points.map((p) => p[1]));
  const place = ([at, pull]) => `${(W - (W * (now.at_s - at)) / SPAN_S).toFixed(1)} ${(H - 4 - ((H - 8) * (pull - least)) / (most - least)).toFixed(1)}`;
  find("strip").lastElementChild.setAttribute("d", `M${points.map(place).join("L")}`);
}

export function drawKeys(send) {
  find("keys").replaceChildren(...KEYS.map(([words, entry], i) => button(words, () => send({ entry }), i ? "" : "first")));
  addEventListener("keydown", (event) => {
    if (find("cell").hidden || event.target.closest("input, button, a, summary, select")) return;
    const entry = { Enter: "enter", r: "undo", z: "zero", s: "skip", q: "stop", k: "keep" }[event.key];
    if (entry) send({ entry });
  });
}
