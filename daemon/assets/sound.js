// Sound of an alarm. Browsers allow it only after a touch, so it starts off, and says so.
import { at } from "/dom.js";

let context = null;
let on = false;
let wanted = null;
let due = 0;

// High: three quick notes every two seconds. Low: one long note every five. Told apart by rhythm.
const PATTERNS = {
  high: { every: 2, notes: [[0, 0.14, 1150], [0.2, 0.14, 1150], [0.4, 0.3, 1450]] },
  low: { every: 5, notes: [[0, 0.5, 620]] },
};

function word() {
  const button = at("switch-sound");
  button.textContent = on ? "Sound: on" : "Sound: off";
  button.setAttribute("aria-pressed", String(on));
  button.dataset.muted = on ? "no" : "yes";
}

function play(pattern) {
  for (const [start, lasts, pitch] of pattern.notes) {
    const tone = context.createOscillator();
    const level = context.createGain();
    const from = context.currentTime + start;
    tone.type = "square";
    tone.frequency.value = pitch;
    level.gain.setValueAtTime(0.0001, from);
    level.gain.exponentialRampToValueAtTime(0.4, from + 0.01);
    level.gain.setValueAtTime(0.4, from + lasts - 0.03);
    level.gain.exponentialRampToValueAtTime(0.0001, from + lasts);
    tone.connect(level).connect(context.destination);
    tone.start(from);
    tone.stop(from + lasts);
  }
}

// `level`: "high", "low" or null when nothing unacknowledged stands.
export function soundFor(level) {
  if (level !== wanted) due = 0;
  wanted = level;
}

export const soundIsOn = () => on;

export function connectSound() {
  at("switch-sound").onclick = async () => {
    on = !on;
    if (on) {
      context ??= new AudioContext();
      await context.resume();
      // Heard at once: whoever turns it on knows that it can be heard.
      play({ notes: [[0, 0.12, 880]] });
    }
    word();
  };
  setInterval(() => {
    const pattern = PATTERNS[wanted];
    if (!on || pattern === undefined || context?.state !== "running" || context.currentTime < due) return;
    due = context.currentTime + pattern.every;
    play(pattern);
  }, 200);
  word();
}
