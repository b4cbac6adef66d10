// Sound, vibration and speech beside the rack; speech only where it was asked for.
let sound = null;
addEventListener("pointerdown", () => { sound ??= new AudioContext(); }, { once: true }); // browsers want a touch first

export function bell() {
  navigator.vibrate?.([200, 100, 200]);
  if (!sound) return;
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
  if (localStorage.getItem("speak") !== "yes" || !("speechSynthesis" in window)) return;
  speechSynthesis.cancel();
  speechSynthesis.speak(new SpeechSynthesisUtterance(words));
}
