// Another way to measure asks for other things: the form is sent as it stands and comes back with them.
const form = document.getElementById("set-up");
form.addEventListener("change", (event) => {
  if (event.target.name !== "q.way" && event.target.name !== "q.tape" && event.target.name !== "scale") return;
  const again = document.createElement("input");
  Object.assign(again, { type: "hidden", name: "again", value: "1" });
  form.append(again);
  form.submit();
});
