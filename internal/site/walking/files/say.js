// Tones and speech, so that the eyes can stay on the leads. Both need a press on the page first; browsers
// ask for that.

let audio = null;

// on holds what the person has switched on; the browser remembers it for this device.
export const on = { tone: localStorage.getItem("tone") !== "off", speech: localStorage.getItem("speech") !== "off" };

export const canSpeak = "speechSynthesis" in window;

export function set(name, value) {
  on[name] = value;
  localStorage.setItem(name, value ? "on" : "off");
  if (!value && name === "speech" && canSpeak) speechSynthesis.cancel();
}

// unlock is called from a press.
export function unlock() {
  const Context = window.AudioContext ?? window.webkitAudioContext;
  if (!audio && Context) audio = new Context();
  if (audio) audio.resume();
}

// tone plays notes one after the other: each is a frequency in Hz.
function tone(...notes) {
  if (!on.tone || !audio) return;
  notes.forEach((hertz, i) => {
    const from = audio.currentTime + 0.16 * i, swing = audio.createOscillator(), loud = audio.createGain();
    swing.frequency.value = hertz;
    loud.gain.setValueAtTime(0.3, from);
    loud.gain.exponentialRampToValueAtTime(0.001, from + 0.15);
    swing.connect(loud).connect(audio.destination);
    swing.start(from);
    swing.stop(from + 0.15);
  });
}

export const tones = { next: () => tone(660), settled: () => tone(990), again: () => tone(330, 330), done: () => tone(523, 659, 784) };

export function speak(text) {
  if (!on.speech || !canSpeak || !text) return;
  speechSynthesis.cancel();
  const words = new SpeechSynthesisUtterance(text);
  words.lang = "en";
  speechSynthesis.speak(words);
}
