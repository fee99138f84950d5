// Tension and wheels against time, one above the other on the same time axis.
import uPlot from "/vendor/uPlot.esm.js";
import { at, colour, rem, say } from "/dom.js";
import { preferences } from "/preferences.js";
import { indexAt, store } from "/store.js";
import { hms } from "/time.js";

const SPANS_MIN = [5, 10, 30, 60];
// More points than this on one chart cannot be told apart.
const SHOWN = 4000;
let span = 10;
let charts = null;
let limit_n = null;

function axes(show, reversed) {
  const font = `600 ${Math.round(rem() * 0.68)}px system-ui, sans-serif`;
  const common = { stroke: colour("--ink"), font, grid: { stroke: colour("--line"), width: 1 }, ticks: { show: false } };
  const time = {
    ...common,
    size: rem() * 1.4,
    space: rem() * 4.6,
    incrs: [5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600],
    values: (_, list) => list.map((t) => hms(new Date(t * 1000), preferences.clock === "utc", span < 30)),
  };
  const value = {
    ...common,
    size: rem() * (reversed ? 3.4 : 3),
    space: rem() * 1.7,
    values: (_, list) => list.map((n) => String(Math.round(n * 100) / 100)),
  };
  return [time, value];
}

function chart(id, show, reversed, series) {
  const place = at(id);
  place.replaceChildren();
  return new uPlot({
    width: Math.max(place.clientWidth, 50),
    height: Math.max(place.clientHeight, 90),
    padding: [6, 8, 0, 0],
    scales: { x: { time: false }, y: { dir: reversed ? -1 : 1 } },
    axes: axes(show, reversed),
    series: [{}, ...series],
    legend: { show: false },
    cursor: { show: false },
  }, [[], ...series.map(() => [])], place);
}

export function buildCharts(show) {
  const ink = colour("--ink");
  const mid = colour("--mid");
  const tension = chart("tension-chart", show, false, [
    { stroke: ink, width: 1.6 },
    { stroke: mid, width: 1.4, dash: [2, 3] },
    { stroke: ink, width: 3, dash: [14, 6] },
  ]);
  const depth = chart("depth-chart", show, true, [{ stroke: ink, width: 1.6 }]);
  charts = { tension, depth, show };
}

// The limit is drawn where it can be seen without flattening the strokes.
function nearLimit(values) {
  const high = Math.max(...values.filter((value) => value !== null), 0);
  return limit_n !== null && high > 0.6 * limit_n;
}

export function drawCharts(limit) {
  if (charts === null || store.points.at_s.length === 0) return;
  limit_n = limit;
  const { show } = charts;
  const times = store.points.at_s;
  const to = times.at(-1);
  const first = indexAt(to - span * 60);
  const every = Math.max(1, Math.ceil((times.length - first) / SHOWN));
  const pick = (name, turn) => {
    const list = [];
    const values = store.points[name];
    for (let n = first; n < values.length; n += every) list.push(values[n] === null ? null : turn(values[n]));
    return list;
  };
  // Seconds of UTC, so that ticks stand at whole minutes of the clock.
  const zero = Date.parse(store.job.started_utc) / 1000;
  const x = pick("at_s", (t) => zero + t);
  const tension = pick("tension_n", show.toForce);
  const wall = nearLimit(pick("tension_n", (n) => n)) ? x.map(() => show.toForce(limit_n)) : x.map(() => null);
  charts.tension.setData([x, tension, pick("expected_n", show.toForce), wall], false);
  charts.depth.setData([x, pick("tool_m", show.toLength)], false);
  const from = Math.max(to - span * 60, times[0]);
  for (const one of [charts.tension, charts.depth]) {
    one.setScale("x", { min: zero + from, max: zero + Math.max(to, from + 10) });
  }
}

export function connectSpan(changed) {
  at("span").onclick = () => {
    span = SPANS_MIN[(SPANS_MIN.indexOf(span) + 1) % SPANS_MIN.length];
    say("span", `${span} min`);
    changed();
  };
  new ResizeObserver(() => {
    if (charts === null) return;
    for (const [id, one] of [["tension-chart", charts.tension], ["depth-chart", charts.depth]]) {
      const place = at(id);
      if (place.clientWidth > 0) one.setSize({ width: place.clientWidth, height: Math.max(place.clientHeight, 90) });
    }
  }).observe(at("charts"));
}
