// One length along every curve: what each band pulls there.
"use strict";
const numbers = JSON.parse(document.getElementById("numbers").textContent);
const slider = document.getElementById("tape");
const UNKNOWN = "–";
const MARKS = { kg: 0.01, lb: 0.5 }; // what one step of the slider is on the tape

function unit() {
  return document.getElementById("unit-lb").checked ? "lb" : "kg";
}

function along(column, place) {
  const below = Math.min(Math.floor(place), column.length - 1);
  const above = Math.min(below + 1, column.length - 1);
  return column[below] + (column[above] - column[below]) * (place - below);
}

function cells(band, place, newton) {
  const of = (branch, names) => {
    const way = band[branch], at = way ? place - way.first : -1;
    const tested = at > -1e-6 && at < way.force.length - 1 + 1e-6;
    return names.map((name) => (tested ? (along(way[name], Math.max(at, 0)) / newton).toFixed(2) : UNKNOWN));
  };
  return [...of("loading", ["force", "mean", "next"]), ...of("unloading", ["force"])];
}

function show() {
  const { newton, metre, length } = numbers.units[unit()];
  const tape = slider.value * MARKS[unit()], place = (tape * metre) / numbers.step;
  const words = `${tape.toFixed(length === "m" ? 2 : 1)} ${length}`;
  document.getElementById("at").textContent = words;
  slider.setAttribute("aria-valuetext", words);
  document.getElementById("caption-at").textContent = words;
  for (const place of document.querySelectorAll("#pull-table .u")) place.textContent = unit();
  document.querySelectorAll("#pull-table tbody tr").forEach((row, i) => {
    cells(numbers.bands[i], place, newton).forEach((text, k) => { row.children[k + 1].textContent = text; });
  });
  const part = (place - numbers.first) / Math.max(numbers.last - numbers.first, 1);
  for (const line of document.querySelectorAll("#pulls .here")) {
    const x = Number(line.dataset.left) + Math.min(Math.max(part, 0), 1) * Number(line.dataset.width);
    line.setAttribute("d", line.getAttribute("d").replace(/^M[\d.]+/, `M${x.toFixed(1)}`));
  }
}

function set() {
  const { metre } = numbers.units[unit()], mark = MARKS[unit()];
  const kept = slider.dataset.metres ? Number(slider.dataset.metres) : ((numbers.first + numbers.last) / 2) * numbers.step;
  slider.min = Math.ceil((numbers.first * numbers.step) / metre / mark - 1e-6);
  slider.max = Math.floor((numbers.last * numbers.step) / metre / mark + 1e-6);
  slider.step = 1;
  slider.value = Math.round(kept / metre / mark);
  show();
}

if (slider) {
  document.getElementById("slide").hidden = false;
  slider.addEventListener("input", () => {
    slider.dataset.metres = slider.value * MARKS[unit()] * numbers.units[unit()].metre;
    show();
  });
  for (const radio of document.querySelectorAll("[name=unit]")) radio.addEventListener("change", set);
  set();
}
