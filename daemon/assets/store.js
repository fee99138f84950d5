// What the daemon has told, kept for drawing: points, strokes, groove, the present.

// The charts show at most that much.
export const KEEP_S = 3600;
const STROKES = 60;
const ALARMS = 200;
const COLUMNS = ["at_s", "tension_n", "tension_low_n", "tension_high_n", "expected_n", "line_m", "tool_m", "drag_n"];

export const store = {
  job: null,
  now: null,
  health: null,
  groove: { groove: [], joints: [], outlook: [] },
  strokes: [],
  marks: [],
  // What became of alarms, oldest first.
  alarms: [],
  warnings: {},
  points: Object.fromEntries(COLUMNS.map((name) => [name, []])),
};

// Another run: nothing of the old one may stay on the screen.
export function begin(hello) {
  if (store.job?.run_id !== hello.run_id) {
    for (const name of COLUMNS) store.points[name] = [];
    store.strokes = [];
    store.marks = [];
    store.alarms = [];
    store.warnings = {};
    store.now = null;
    store.groove = { groove: [], joints: [], outlook: [] };
  }
  store.job = hello;
}

export function addPoints(points) {
  const kept = store.points;
  const newest = kept.at_s.at(-1) ?? -Infinity;
  points.at_s.forEach((t, n) => {
    // Points come twice around a reconnect: only newer ones count.
    if (t <= newest) return;
    for (const name of COLUMNS) kept[name].push(points[name][n]);
  });
  const from = (kept.at_s.at(-1) ?? 0) - KEEP_S;
  // Cut in large pieces: moving arrays ten times a second would be felt.
  if (kept.at_s.length > 0 && kept.at_s[0] < from - 120) {
    const old = indexAt(from);
    for (const name of COLUMNS) kept[name].splice(0, old);
  }
}

// The whole history anew: an interrupted run has been read back by the daemon.
export function putPoints(points) {
  const live = store.points;
  store.points = points;
  addPoints(live);
}

// First point at or after `t`.
export function indexAt(t) {
  const times = store.points.at_s;
  let low = 0;
  let high = times.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] < t) low = middle + 1;
    else high = middle;
  }
  return low;
}

export function addStrokes(strokes) {
  for (const stroke of strokes) {
    if (!store.strokes.some((known) => known.n === stroke.n)) store.strokes.push(stroke);
  }
  store.strokes.sort((a, b) => a.n - b.n);
  store.strokes.splice(0, Math.max(0, store.strokes.length - STROKES));
}

export function addTold(told) {
  if (told.kind === "stroke") addStrokes([told]);
  else if (told.kind === "mark") store.marks.push(told);
  else if (told.kind === "alarm") {
    store.alarms.push(told);
    store.alarms.splice(0, Math.max(0, store.alarms.length - ALARMS));
  }
}

// The overpull guard speaks before the pipeline has come to the same finding: until that stands in
// `now`, its word does. Two seconds are more than the pipeline takes.
const GUARD_S = 2;

export function alarmsNow() {
  const { alarms, watched_s } = store.now;
  const high = (kind) => alarms.some((alarm) => alarm.kind === kind && (kind !== "overpull" || alarm.level === "high"));
  const early = Object.values(store.warnings).filter((one) => watched_s < one.at_s + GUARD_S && !high(one.kind));
  return [...early.map((one) => ({ kind: one.kind, level: "high", state: "unacknowledged", raised_s: one.at_s, message: guardWord(one) })), ...alarms];
}

const guardWord = ({ kind, tension_n, limit_n }) => (kind === "overpull"
  ? `Line tension ${tension_n.toFixed(0)} N has reached the limit of ${limit_n.toFixed(0)} N: stop pulling and slack off.`
  : `Line tension is about to reach the limit of ${limit_n.toFixed(0)} N: stop pulling.`);

// The newest mark that names the cutter.
export const cutterMark = () => store.marks.findLast(({ mark }) => mark === "cutter_out" || mark === "cutter_in");

// Part of an interrupted run that the daemon has read back; `null`: all there is.
export const readingBack = () => store.health?.reading_back ?? null;

// Age of a channel's newest reading, s, when the daemon last spoke.
export function ageOf(name) {
  const channel = store.now?.channels.find((one) => one.name === name);
  return channel?.age_s ?? null;
}
