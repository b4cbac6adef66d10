// The slider of a rig: all heights come from the server once, as the command's own answer gives them.
const slider = document.getElementById("height");
const answer = await fetch(location.pathname, { headers: { accept: "application/json" } });
const { heights } = await answer.json();

slider.addEventListener("input", () => {
  const now = heights[Number(slider.value)];
  document.getElementById("at").textContent = now.height;
  document.getElementById("big").textContent = (now.up ?? now.down).load;
  for (const way of ["up", "down"])
    for (const [name, text] of Object.entries(now[way] ?? {}))
      document.querySelector(`#${way} [data-is=${name}]`).textContent = text;
});
