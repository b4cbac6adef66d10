// Sound, vibration and speech beside the rack, each with its switch; speech only where it was asked for.
const SWITCHES = [["sound", "Sound", true], ["shake", "Vibration", true], ["speak", "Speech", false]];
let sound = null;
addEventListener("pointerdown", () => { sound ??= new AudioContext(); }, { once: true }); // browsers want a touch first

const isOn = (name) => (localStorage.getItem(name) ?? (SWITCHES.find((s) => s[0] === name)?.[2] ? "yes" : "no")) === "yes";

export function switches(place) {
  const coarse = matchMedia("(pointer: coarse)").matches;
  place.replaceChildren(...[...SWITCHES, ["pad", "Number pad", coarse]].map(([name, words, usual]) => {
    const label = document.createElement("label");
    const box = document.createElement("input");
    Object.assign(box, { type: "checkbox", checked: (localStorage.getItem(name) ?? (usual ? "yes" : "no")) === "yes" });
    box.addEventListener("change", () => {
      localStorage.setItem(name, box.checked ? "yes" : "no");
      dispatchEvent(new Event("switched"));
    });
    label.className = "choice";
    label.append(box, words);
    return label;
  }));
}

export function bell(times = 1) {
  if (times > 1) setTimeout(() => bell(times - 1), 350); // twice: something is wrong
  if (isOn("shake")) navigator.vibrate?.([200, 100, 200]);
  if (!sound || !isOn("sound")) return;
  const tone = sound.createOscillator();
  const loudness = sound.createGain();
  tone.frequency.value = 880;
  loudness.gain.setValueAtTime(0.4, sound.currentTime);
  loudness.gain.exponentialRampToValueAtTime(0.001, sound.currentTime + 0.6);
  tone.connect(loudness).connect(sound.destination);
  tone.start();
  tone.stop(sound.currentTime + 0.6);
}

export function speak(words) {
  if (!isOn("speak") || !("speechSynthesis" in window)) return;
  speechSynthesis.cancel();
  speechSynthesis.speak(new SpeechSynthesisUtterance(words));
}
