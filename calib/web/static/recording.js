// The recording's page made livelier: a number pad, a countdown, and what other browsers enter, shown at once.
// Every word and number comes from the server; without this script the same page works by its forms.
import { button, find, paragraph, send as deliver } from "/static/page.js";
import { drawPad } from "/static/pad.js";
import { drawKeys, showValue } from "/static/cell.js";
import { drawRows } from "/static/rows.js";
import { bell, speak, switches } from "/static/signals.js";

const root = find("recording");
const address = root.dataset.address;
let seen = { version: -1 };
let wait = null; // the countdown: when moving ends, when holding ends, its timer
let heldFrom = 0;
let rung = 0; // signals of a load cell that were heard
let entering = false; // an entry is not acknowledged yet

function show(now) {
  if (now.version < seen.version) return;
  const moved = JSON.stringify(now.asks) !== JSON.stringify(seen.asks);
  seen = now;
  find("asking").hidden = !now.asks;
  find("finished").hidden = Boolean(now.asks);
  if (now.asks) showTask(now.asks);
  find("cell").hidden = !now.cell;
  find("trouble").hidden = !now.trouble;
  find("trouble").textContent = now.trouble;
  find("connect").hidden = !now.connect;
  find("entry").hidden = now.cell || now.connect;
  find("progress").textContent = now.progress;
  find("say").replaceChildren(...now.say.map((words) => paragraph(words, now.question ? "doubt" : "")));
  find("curve").innerHTML = now.picture; // drawn by the server, of numbers alone
  find("so-far").hidden = !now.rows.length;
  drawRows(find("rows"), now, send);
  if (!now.asks || now.cell || now.connect) stopWait();
  else if (moved && now.writes) beginWait(now.asks);
  if (rung && rung !== now.rings[0]) bell(now.rings[1]);
  rung = now.rings[0];
  if (moved && now.asks) speak(`${now.asks.task}. ${now.asks.place}`);
  showButtons();
  settle();
}

// what a reader of the page may wait for: ready to be typed into, sending, or done
function settle() {
  root.dataset.state = entering ? "sending" : seen.asks ? "ready" : "done";
  root.dataset.version = seen.version;
}

function showTask(asks) {
  find("task").textContent = asks.task;
  find("place").textContent = asks.place;
  find("aside").textContent = asks.aside;
  document.querySelector("label[for=value]").textContent = asks.label;
  find("value").disabled = find("take").disabled = !seen.writes;
}

function showButtons() {
  const near = [], other = []; // beside the countdown, and below
  if (!seen.writes) other.push(button("Write from here", () => send({ pen: "take" }), "first"));
  else {
    if (seen.question) near.push(button("It is right, keep it", () => send({ entry: "keep" }), "first"));
    const reads = seen.asks && !seen.cell && !seen.connect;
    if (reads && wait && Date.now() < wait.moves) near.push(button("It is set", holdNow));
    if (reads && seen.asks.hold_s) near.push(button(wait ? "Pause" : "Start the wait", pauseOrGo));
    if (seen.rows.length && !seen.cell) other.push(button("Undo", () => send({ entry: "undo" })));
    if (reads) other.push(button("Skip", () => send({ entry: "skip" })), button("Finish early", () => send({ entry: "stop" })));
  }
  find("steer").replaceChildren(...near);
  find("other").replaceChildren(...other);
}

// --- entries

async function send(fields) {
  if (entering) return;
  entering = true;
  settle();
  const held = heldFrom ? { held_s: ((Date.now() - heldFrom) / 1000).toFixed(1) } : {};
  const typed = find("value").value;
  const found = await deliver(address, { ...fields, ...held }, complain);
  entering = false;
  if (found) {
    if (find("value").value === typed) find("value").value = ""; // not what was typed while the answer was on its way
    show(found);
  }
  settle();
}

function complain(words, help) {
  find("say").replaceChildren(paragraph(words, "doubt"));
  if (!help) return;
  const way = document.createElement("a");
  Object.assign(way, { href: help.address, textContent: help.words, className: "button" });
  find("say").append(way);
}

// --- the wait before a reading: time to move, then time to hold

function beginWait(asks) {
  stopWait();
  if (!asks.hold_s) return;
  const moves = Date.now() + 1000 * asks.move_s;
  heldFrom = moves;
  wait = { moves, ends: moves + 1000 * asks.hold_s, timer: setInterval(tick, 200) };
  tick();
}

function tick() {
  const now = Date.now(), moving = now < wait.moves, over = now >= wait.ends;
  if (wait.moving !== moving) {
    wait.moving = moving;
    showButtons();
  }
  const seconds = Math.ceil(((moving ? wait.moves : wait.ends) - now) / 1000);
  find("wait").textContent = over ? "Read now" : `${moving ? "Move" : "Hold still"}: ${seconds}`;
  find("wait").className = over ? "wait read" : moving ? "wait" : "wait hold";
  if (!over) return;
  clearInterval(wait.timer);
  wait = null;
  bell();
  speak("Read now");
  showButtons();
}

function holdNow() {
  const early = wait.moves - Date.now();
  wait.moves -= early;
  wait.ends -= early;
  heldFrom = wait.moves;
  tick();
}

function stopWait(words = "") {
  clearInterval(wait?.timer);
  wait = null;
  heldFrom = 0;
  find("wait").textContent = words;
}

function pauseOrGo() {
  if (wait) stopWait("Paused");
  else beginWait(seen.asks);
  showButtons();
}

// --- start

find("entry").addEventListener("submit", (event) => {
  event.preventDefault();
  const typed = find("value").value.trim();
  if (typed) send({ entry: typed });
  else beginWait(seen.asks);
});
drawPad(find("pad"), find("value"));
switches(find("switches"));
drawKeys((fields) => seen.writes && send(fields));
const stream = new EventSource(`${address}/live`);
stream.addEventListener("message", (event) => show(JSON.parse(event.data)));
stream.addEventListener("cell", (event) => showValue(JSON.parse(event.data)));
