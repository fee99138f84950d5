// The live page: takes what the stream tells, draws what has changed, listens to keys.
import { at, make, say } from "/dom.js";
import { ask, signIn } from "/ask.js";
import { acknowledgeFirst, connectAlarms, showAlarms } from "/alarms.js";
import { buildCharts, connectSpan, drawCharts } from "/charts.js";
import { connection, follow, silentFor, watch } from "/connection.js";
import { counterLeapt, showHealth } from "/health.js";
import { showJoints, showWheels } from "/joints.js";
import { connectMarks, showDoubts, showMarks, showNotice } from "/marks.js";
import { drawOverlay } from "/overlay.js";
import { drawPipe } from "/pipe.js";
import { connectSwitches, preferences } from "/preferences.js";
import { connectSound, soundFor } from "/sound.js";
import { addPoints, addStrokes, addTold, ageOf, alarmsNow, begin, putPoints, readingBack, store } from "/store.js";
import { showTension } from "/tension.js";
import { clockOf, hms, lasting } from "/time.js";
import { showTool } from "/tool.js";
import { units } from "/units.js";

// A reading older than this is not shown as if it were the present: old data must be grey within two
// seconds, and the steps of stream and drawing come on top.
const OLD_S = 1.4;

let show = units("metric");
let lost = false;
const changed = { now: false, groove: false, marks: false, health: false };
const shownUnits = () => preferences.units ?? store.job?.display ?? "metric";
const all = () => { for (const name of Object.keys(changed)) changed[name] = true; };

function rebuild() {
  show = units(shownUnits());
  say("pipe-unit", show.length);
  if (store.job !== null) buildCharts(show);
  all();
}
const wordSwitches = connectSwitches(rebuild, shownUnits);

function hello(job) {
  connection.ended = false;
  begin(job);
  say("job", job.name);
  say("well", job.well);
  document.title = `kerfwatch – ${job.name}`;
  rebuild();
  wordSwitches();
  // What was before this page was opened.
  for (const name of ["marks", "alarms"]) {
    fetch(`/api/v1/${name}`).then((answer) => (answer.ok ? answer.json() : [])).then((before) => {
      store[name] = before;
      changed.marks = changed.now = true;
    }).catch(() => { /* the stream tells when the daemon is gone */ });
  }
}

// What was before the interruption has to be fetched: the stream tells only what is new.
async function caughtUp() {
  try {
    const [points, marks, alarms] = await Promise.all(["/api/v1/history?points=6000", "/api/v1/marks", "/api/v1/alarms"].map(async (path) => (await fetch(path)).json()));
    putPoints(points);
    store.marks = marks;
    store.alarms = alarms;
    all();
  } catch { /* the stream tells when the daemon is gone */ }
}

function showReadingBack() {
  const part = readingBack();
  at("reading-back").hidden = part === null;
  if (part !== null) say("reading-back-part", `READING BACK THE RECORD: ${Math.floor(part * 100)} %`);
}

const take = {
  hello,
  points: (points) => { addPoints(points); changed.now = true; },
  strokes: (strokes) => { addStrokes(strokes); changed.now = true; },
  groove: (view) => { store.groove = view; changed.groove = true; },
  now: (snapshot) => { store.now = snapshot; changed.now = true; },
  told: (told) => { if (told.kind === "caught_up") caughtUp(); addTold(told); changed.marks ||= told.kind === "mark"; changed.now = true; },
  warning: (warning) => { store.warnings[warning.kind] = warning; changed.now = true; },
  health: (health) => { store.health = health; changed.health = true; },
  // Nothing comes after it: whoever looks must know that nobody watches any more, and that it was meant.
  ended: () => { connection.ended = true; },
};
follow(take);
watch(take);

function clock() {
  // Goes on while instruments are silent: only their figures are old.
  const date = clockOf(store.job.started_utc, store.now.watched_s);
  const written = { utc: `${hms(date, true)} UTC`, local: `${hms(date, false)} local` };
  const other = preferences.clock === "utc" ? "local" : "utc";
  say("clock-first", written[preferences.clock]);
  say("clock-second", written[other]);
}

function link(silent) {
  const node = at("link");
  if (lost !== (silent !== null)) changed.health = true;
  lost = silent !== null;
  document.body.classList.toggle("is-lost", lost && connection.everHeard);
  at("lost").hidden = !lost;
  if (!lost) {
    node.dataset.level = "ok";
    say("link", store.job === null ? "… connecting" : store.job.speed === 1 ? "✓ live" : `✓ demo ×${store.job.speed}`);
    return;
  }
  node.dataset.level = "high";
  if (connection.ended) {
    say("link", "▲ run ended");
    say("lost-title", "RUN ENDED");
    say("lost-text", "kerfwatch was stopped: nothing is watched or recorded, no alarm comes. What is shown is how it ended.");
    soundFor(null);
    return;
  }
  say("link", "▲ no data");
  say("lost-title", connection.everHeard ? `CONNECTION LOST FOR ${lasting(silent)}` : "NO CONNECTION TO KERFWATCH");
  say("lost-text", connection.refused ? "A token is needed to look at this page."
    : connection.everHeard ? "What is shown is old. No new alarm reaches this page: watch the winch's own gauge. Trying again."
      : "Nothing is shown yet. Trying again.");
  at("lost").setAttribute("data-refused", String(connection.refused));
  // No data is never "no alarm".
  if (connection.everHeard) soundFor("high");
}

let asking = false;
async function askToken() {
  if (!connection.refused || asking) return;
  asking = true;
  try { await signIn(); } catch (error) { say("lost-text", error.message); }
  setTimeout(() => { asking = false; }, 3000);
}

function draw() {
  requestAnimationFrame(draw);
  const { job, now } = store;
  if (job === null) return;
  if (changed.groove) showJoints(store.groove, show);
  if (changed.marks) showMarks(show);
  if (changed.now && now !== null) {
    at("marks-turned").hidden = !now.marks_turned;
    showNotice(now, show);
    showDoubts(now.marks_doubted);
    showWheels(now.other_wheels, (at_s) => hms(clockOf(job.started_utc, at_s), preferences.clock === "utc"));
  }
  if (changed.health) showReadingBack();
  if (changed.health) showHealth(now, store.health, job, OLD_S, !lost ? null : connection.ended ? "ended" : "not known");
  if (now !== null && (changed.now || changed.groove)) {
    const depthAge = ageOf("depth");
    showTension(now, show, ageOf("load"), OLD_S);
    showTool(now, show, depthAge, ageOf("load"), OLD_S);
    if (!lost) showAlarms(alarmsNow(), show);
    const isOld = (age) => age === null || age > OLD_S;
    drawPipe(job, store.groove.groove, now, show, isOld(depthAge) || isOld(ageOf("load")) || counterLeapt(now));
    drawOverlay(job, now, show);
    drawCharts(now.limit_n);
    clock();
  }
  for (const name of Object.keys(changed)) changed[name] = false;
}

// Silence has to be noticed without an event: that is the point.
setInterval(() => {
  link(silentFor());
  askToken();
}, 100);

const KEYS = {
  a: ["acknowledge the first alarm", acknowledgeFirst],
  l: ["alarm list", () => at("show-alarms").click()],
  s: ["sound on or off", () => at("switch-sound").click()],
  d: ["day or night", () => at("switch-theme").click()],
  u: ["metric or field units", () => at("switch-units").click()],
  t: ["UTC or local time", () => at("switch-clock").click()],
  o: ["mark: cutter out", () => document.querySelector('[data-mark="cutter_out"]').click()],
  i: ["mark: cutter in", () => document.querySelector('[data-mark="cutter_in"]').click()],
  w: ["weight check", () => document.querySelector('[data-mark="weight_check"]').click()],
  n: ["note", () => document.querySelector('[data-mark="note"]').click()],
  z: ["new zero", () => document.querySelector('[data-mark="zero"]').click()],
  r: ["reference depth", () => document.querySelector('[data-mark="reference_depth"]').click()],
  k: ["this list", () => at("show-keys").click()],
};

at("show-keys").onclick = () => ask({
  title: "Keys",
  ok: "Close",
  cancel: null,
  body: [make("ul", {}, ...Object.entries(KEYS).map(([key, [text]]) => make("li", { textContent: `${key.toUpperCase()} – ${text}` })))],
});

document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, textarea, dialog") !== null || document.querySelector("dialog[open]") !== null;
  if (typing || event.ctrlKey || event.altKey || event.metaKey) return;
  const key = KEYS[event.key.toLowerCase()];
  if (key === undefined) return;
  event.preventDefault();
  key[1]();
});

window.addEventListener("resize", all);
connectAlarms();
connectMarks(() => show);
connectSound();
connectSpan(all);
draw();
