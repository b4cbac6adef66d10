// Readings as they come: pull against length, loading as dots, unloading as rings. Numbers in, a drawing out.
const W = 640, H = 320, LEFT = 62, BOTTOM = 48;

export function drawCurve(place, points, span) {
  const most = Math.max(1, ...points.map((p) => p.kilos)) * 1.1;
  const [low, high] = [span[0], Math.max(span[1], span[0] + 1e-6)];
  const x = (length) => LEFT + ((W - LEFT - 16) * (length - low)) / (high - low);
  const y = (kilos) => H - BOTTOM - ((H - BOTTOM - 34) * kilos) / most;
  const svg = make("svg", { viewBox: `0 0 ${W} ${H}`, class: "curve", role: "img" });
  svg.append(text("title", {}, `${points.length} readings, up to ${Math.max(0, ...points.map((p) => p.kilos)).toFixed(1)} kg`));
  svg.append(make("path", { d: `M${LEFT} 8V${H - BOTTOM}H${W - 10}`, class: "axis", fill: "none" }));
  for (const part of [0, 0.5, 1]) {
    svg.append(text("text", { x: LEFT - 8, y: y(part * most) + 5, "text-anchor": "end" }, (part * most).toFixed(0)));
    svg.append(text("text", { x: x(low + part * (high - low)), y: H - 14, "text-anchor": part === 1 ? "end" : "middle" }, (100 * (low + part * (high - low))).toFixed(0)));
  }
  svg.append(text("text", { x: 6, y: 24 }, "kg"), text("text", { x: W - 8, y: H - BOTTOM - 10, "text-anchor": "end" }, "cm"));
  for (const branch of ["loading", "unloading"]) {
    const mine = points.filter((p) => p.branch === branch);
    if (mine.length > 1) {
      const sorted = mine.slice().sort((a, b) => a.length - b.length);
      svg.append(make("path", { d: "M" + sorted.map((p) => `${x(p.length).toFixed(1)} ${y(p.kilos).toFixed(1)}`).join("L"), class: branch }));
    }
    for (const p of mine) svg.append(make("circle", { cx: x(p.length), cy: y(p.kilos), r: 6, class: branch === "loading" ? "reading" : "ring" }));
  }
  place.replaceChildren(svg);
}

function make(name, attributes) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

function text(name, attributes, words) {
  const made = make(name, attributes);
  made.textContent = words;
  return made;
}
