// The guided weight check: hold, pick up, slack off, read. The mark is made when it starts, so that
// a replay knows the tool was free from there; the readings follow as a note.
import { make, say } from "/dom.js";
import { ask, authorField } from "/ask.js";
import { indexAt, store } from "/store.js";

// Slower than this is standing still, m/s.
const STILL = 0.02;
// Speed is taken over this long: from one reading to the next the steps of the counter would show, s.
const SPEED_S = 0.4;
const STEPS = [
  { name: "hold", text: "Hold: wheels in, tool off the bottom, winch stopped. Wait until the tension is steady.", takes: (v) => Math.abs(v) < STILL },
  { name: "pick up", text: "Pick up: pull slowly and steadily, at least two metres.", takes: (v) => v < -STILL },
  { name: "slack off", text: "Slack off: lower slowly and steadily, the same way back.", takes: (v) => v > STILL },
];

const middle = (list) => [...list].sort((a, b) => a - b)[list.length >> 1] ?? null;

// Tensions while the line moved the way the step wants, from the points since it began. The first
// third is left out: after a reversal the friction of the whole line turns over first.
function readings(fromS, step) {
  const { at_s, tension_n, line_m } = store.points;
  const found = [];
  let before = indexAt(fromS);
  for (let n = before + 1; n < at_s.length; n += 1) {
    while (at_s[before + 1] <= at_s[n] - SPEED_S) before += 1;
    const dt = at_s[n] - at_s[before];
    if (dt < SPEED_S || tension_n[n] === null || line_m[n] === null || line_m[before] === null) continue;
    if (step.takes((line_m[n] - line_m[before]) / dt)) found.push(tension_n[n]);
  }
  return found.slice(Math.floor(found.length / 3));
}

export async function weightCheck(show, send) {
  const author = authorField();
  const who = await ask({
    title: "Weight check",
    body: [make("p", { textContent: "Only with the tool free: wheels in, or out of the cut. Three steps, then the readings are shown and kept." }), ...author.nodes],
    ok: "Start",
    read: author.read,
  });
  if (who === null || !(await send({ mark: "weight_check", author: who }))) return;

  const items = STEPS.map((step) => make("li", {}, step.text, make("span", { className: "reading" })));
  const live = make("p", { className: "live", id: "weight-live" });
  const results = [];
  let at = 0;
  let began = store.points.at_s.at(-1) ?? 0;
  let timer = 0;
  let button = null;
  const show_step = () => {
    items.forEach((item, n) => { item.dataset.now = n === at ? "yes" : "no"; });
    if (button) button.textContent = at < STEPS.length ? `${STEPS[at].name}: read` : "Keep readings";
  };
  const look = () => {
    if (at >= STEPS.length) return;
    const found = readings(began, STEPS[at]);
    say("weight-live", found.length < 5 ? "waiting for steady movement" : `${STEPS[at].name} ${show.asForce(middle(found))}`);
  };
  const kept = await ask({
    id: "weight",
    title: "Weight check",
    body: [make("ol", { className: "steps" }, ...items), live],
    ready: ({ yes }) => { button = yes; show_step(); timer = setInterval(look, 250); },
    read: () => {
      if (at >= STEPS.length) return true;
      const value = middle(readings(began, STEPS[at]));
      if (value === null) throw new Error(`Nothing to read yet for “${STEPS[at].name}”: do it, then press.`);
      results.push(value);
      items[at].querySelector(".reading").textContent = `  ${show.asForce(value)}`;
      at += 1;
      began = store.points.at_s.at(-1) ?? 0;
      show_step();
      if (at === STEPS.length) {
        const [, up, down] = results;
        live.textContent = `between up and down: ${show.asForce(up - down)}`;
      }
      return undefined;
    },
  });
  clearInterval(timer);
  if (kept === null) return;
  const text = STEPS.map((step, n) => `${step.name} ${show.asForce(results[n])}`).join(", ");
  await send({ mark: "note", author: who, text: `weight check: ${text}` });
}
