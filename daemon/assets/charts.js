// Tension and wheels against time, one above the other on the same time axis.
import uPlot from "/vendor/uPlot.esm.js";
import { at, colour, rem, say } from "/dom.js";
import { preferences } from "/preferences.js";
import { indexAt, store } from "/store.js";
import { hms } from "/time.js";

const SPANS_MIN = [5, 10, 30, 60];
let span = 10;
let charts = null;
let limit_n = null;

function axes(reversed) {
  const font = `600 ${Math.round(rem() * 0.68)}px system-ui, sans-serif`;
  const common = { stroke: colour("--ink"), font, grid: { stroke: colour("--line"), width: 1 }, ticks: { show: false } };
  const time = {
    ...common,
    size: rem() * 1.4,
    space: rem() * 4.6,
    incrs: [5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600],
    values: (_, list) => list.map((t) => hms(new Date(t * 1000), preferences.clock === "utc", span < 10)),
  };
  const value = {
    ...common,
    size: rem() * (reversed ? 3.4 : 3),
    space: rem() * 1.7,
    values: (_, list) => list.map((n) => String(Math.round(n * 100) / 100)),
  };
  return [time, value];
}

// A reading that makes no sense must not flatten ten minutes of strokes: it is cut off above all that
// the line could bear.
function pullRange(chart, low, high) {
  if (low === null || high === null) return [0, 1];
  const most = limit_n === null ? high : Math.min(high, charts.show.toForce(limit_n) * 2.2);
  const least = Math.max(low, -0.25 * most);
  return uPlot.rangeNum(least, Math.max(most, least + 1), 0.1, true);
}

function chart(id, range, reversed, series) {
  const place = at(id);
  place.replaceChildren();
  return new uPlot({
    width: Math.max(place.clientWidth, 50),
    height: Math.max(place.clientHeight, 90),
    padding: [6, Math.round(rem() * 1.3), 0, 0],
    scales: { x: { time: false }, y: { dir: reversed ? -1 : 1, range } },
    axes: axes(reversed),
    series: [{}, ...series],
    legend: { show: false },
    cursor: { show: false },
  }, [[], ...series.map(() => [])], place);
}

export function buildCharts(show) {
  at("depth-chart").dataset.unit = show.length;
  const ink = colour("--ink");
  const mid = colour("--mid");
  const tension = chart("tension-chart", pullRange, false, [
    { stroke: ink, width: 1.6 },
    { stroke: mid, width: 1.4, dash: [2, 3] },
    { stroke: ink, width: 3, dash: [14, 6] },
  ]);
  const depth = chart("depth-chart", undefined, true, [{ stroke: ink, width: 1.6 }]);
  charts = { tension, depth, show };
}

// Lowest and highest of each pixel column, in the order they came: no peak is lost, however many
// points there are. Columns stand on whole multiples of their width, so that nothing shimmers
// while the window slides. `low`, `high`: names of columns of the store; `along`: one more, its
// newest value in each.
export function envelope(first, step, low, high, along = null) {
  const { at_s } = store.points;
  const [lows, highs] = [store.points[low], store.points[high]];
  const others = along === null ? null : store.points[along];
  const out = { at: [], value: [], along: [] };
  let column = null;
  let [least, most, least_s, most_s, newest_s, other] = [Infinity, -Infinity, 0, 0, 0, null];
  const push = (t, value) => { out.at.push(t); out.value.push(value); out.along.push(other); };
  const end = () => {
    if (least > most) push(newest_s, null);
    else if (least === most) push(least_s, least);
    else if (least_s <= most_s) { push(least_s, least); push(most_s, most); }
    else { push(most_s, most); push(least_s, least); }
  };
  for (let n = first; n < at_s.length; n += 1) {
    const mine = Math.floor(at_s[n] / step);
    if (mine !== column) {
      if (column !== null) end();
      column = mine;
      [least, most, other] = [Infinity, -Infinity, null];
    }
    newest_s = at_s[n];
    if (lows[n] !== null && lows[n] < least) { least = lows[n]; least_s = at_s[n]; }
    if (highs[n] !== null && highs[n] > most) { most = highs[n]; most_s = at_s[n]; }
    if (others !== null && others[n] !== null) other = others[n];
  }
  if (column !== null) end();
  return out;
}

export function drawCharts(limit) {
  if (charts === null || store.points.at_s.length === 0) return;
  limit_n = limit;
  const { show, tension, depth } = charts;
  const times = store.points.at_s;
  const to = times.at(-1);
  const from = Math.max(to - span * 60, times[0]);
  const first = indexAt(to - span * 60);
  // Seconds of UTC, so that ticks stand at whole minutes of the clock.
  const zero = Date.parse(store.job.started_utc) / 1000;
  const step = (one) => Math.max(to - from, 10) / Math.max(one.bbox.width, 50);
  const turned = (list, turn) => list.map((value) => (value === null ? null : turn(value)));
  const seconds = (list) => list.map((t) => zero + t);

  const pull = envelope(first, step(tension), "tension_low_n", "tension_high_n", "expected_n");
  // The limit is drawn where it can be seen without flattening the strokes.
  const near = pull.value.some((value) => value > 0.6 * limit_n);
  at("tension-chart").dataset.unit = near ? `${show.force}, – – limit` : show.force;
  const wall = pull.at.map(() => (near ? show.toForce(limit_n) : null));
  tension.setData([seconds(pull.at), turned(pull.value, show.toForce), turned(pull.along, show.toForce), wall], false);
  const way = envelope(first, step(depth), "tool_m", "tool_m");
  depth.setData([seconds(way.at), turned(way.value, show.toLength)], false);
  for (const one of [tension, depth]) {
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
