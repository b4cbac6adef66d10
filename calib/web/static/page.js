// Small things that several scripts need, and the one way to send: an entry is named, so that one sent twice counts
// once, and it is sent again until the server says that it is on the disk.

export const find = (id) => document.getElementById(id);

export function paragraph(words, kind = "") {
  const made = document.createElement("p");
  made.textContent = words;
  made.className = kind;
  return made;
}

export function button(words, act, kind = "") {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = words;
  made.className = kind;
  made.addEventListener("click", act);
  return made;
}

// crypto.randomUUID exists only where the address is trusted, and a phone's is not
function newName() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}

export async function send(address, fields, complain) {
  const body = JSON.stringify({ id: newName(), ...fields });
  const headers = { "content-type": "application/json", accept: "application/json" };
  for (;;) {
    try {
      const answer = await fetch(address, { method: "POST", headers, body });
      const found = await answer.json();
      if (answer.ok) return found;
      complain(found.error, found.help);
      return null;
    } catch {
      complain("No connection. Your entry is kept here and sent when the connection is back.");
      await new Promise((again) => setTimeout(again, 1000));
    }
  }
}
