// The slider of a band: every figure comes from the server, the newest answer wins.
const root = document.getElementById("band");
const slider = document.getElementById("tape");
const line = document.getElementById("here");
let newest = 0;

function mark(part) {
  const x = Number(line.dataset.left) + part * Number(line.dataset.width);
  line.setAttribute("d", line.getAttribute("d").replace(/^M[\d.]+/, `M${x.toFixed(1)}`));
}

async function ask() {
  const mine = ++newest;
  const first = Number(slider.min), last = Number(slider.max);
  mark((slider.value - first) / (last - first));
  const answer = await fetch(`${location.pathname}?tape=${slider.value}`, { headers: { accept: "application/json" } });
  if (mine !== newest || !answer.ok) return;
  const found = await answer.json();
  document.getElementById("at").textContent = found.tape;
  document.getElementById("stretch").textContent = found.stretch;
  document.getElementById("big").textContent = found.loading.pull;
  for (const branch of ["loading", "unloading"])
    for (const [name, text] of Object.entries(found[branch] ?? {}))
      document.querySelector(`#${branch} [data-is=${name}]`).textContent = text;
}

slider.addEventListener("input", ask);
mark(Number(root.querySelector("[data-part]").dataset.part));
