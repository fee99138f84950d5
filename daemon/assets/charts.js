// Tension and wheels against time, one above the other on the same time axis.
import uPlot from "/vendor/uPlot.esm.js";
import { at, colour, rem, say } from "/dom.js";
import { preferences } from "/preferences.js";
import { Envelope, columnWidth } from "/envelope.js";
import { store } from "/store.js";
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
    values: (_, list) => list.map((t) => hms(new Date(t * 1000), preferences.clock === "utc", list.length > 1 && list[1] - list[0] < 60)),
  };
  const value = {
    ...common,
    size: rem() * (reversed ? 3.4 : 3),
    space: rem() * 1.4,
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
  // Noise of a line at rest does not fill the picture either.
  const room = Math.max(0, charts.show.toForce(200) - (most - least)) / 2;
  return uPlot.rangeNum(least - room, most + room, 0.1, true);
}

// A tool that rests is a line in the middle, not one between the surface and twice its depth.
function depthRange(chart, low, high) {
  if (low === null || high === null) return [0, 1];
  const room = Math.max(0.08 * (high - low), charts.show.toLength(1));
  return [low - room, high + room];
}

function chart(id, range, reversed, series) {
  const place = at(id);
  place.replaceChildren();
  return new uPlot({
    width: Math.max(place.clientWidth, 50),
    height: Math.max(place.clientHeight, 80),
    // Room at the top for the unit and the name of the limit.
    padding: [Math.round(rem()), Math.round(rem() * 1.3), 0, 0],
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
  const depth = chart("depth-chart", depthRange, true, [{ stroke: ink, width: 1.6 }]);
  const pull = new Envelope({ low: "tension_low_n", high: "tension_high_n", along: "expected_n", turn: show.toForce });
  const way = new Envelope({ low: "tool_m", high: "tool_m", turn: show.toLength });
  charts = { tension, depth, pull, way, show };
}

export function drawCharts(limit) {
  if (charts === null || store.points.at_s.length === 0) return;
  limit_n = limit;
  const { show, tension, depth, pull, way } = charts;
  const times = store.points.at_s;
  const to = times.at(-1);
  const from = Math.max(to - span * 60, times[0]);
  // Seconds of UTC, so that ticks stand at whole minutes of the clock.
  const zero = Date.parse(store.job.started_utc) / 1000;
  // CSS pixels: finer is not seen, and the same on any screen.
  const update = (curve, id) => curve.update(from, columnWidth(to - from, at(id).clientWidth), zero);

  update(pull, "tension-chart");
  // The limit is drawn where it can be seen without flattening the strokes.
  const wall = show.toForce(limit_n);
  const near = pull.value.some((value) => value > 0.6 * wall);
  at("tension-chart").dataset.unit = near ? `${show.force}, – – limit` : show.force;
  tension.setData([pull.at, pull.value, pull.along, Array(pull.at.length).fill(near ? wall : null)], false);
  update(way, "depth-chart");
  depth.setData([way.at, way.value], false);
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
      if (place.clientWidth > 0) one.setSize({ width: place.clientWidth, height: Math.max(place.clientHeight, 80) });
    }
  }).observe(at("charts"));
}
