// The plain page: figures, groove by depth, two charts. Follows the live stream.
import uPlot from "/vendor/uPlot.esm.js";
import { drawPipe } from "/pipe.js";
import { units } from "/units.js";

const KEEP_S = 600;
const STALE_MS = 2000;
const at = (id) => document.getElementById(id);
const say = (id, text) => { at(id).textContent = text; };

let job = null;
let show = units("metric");
let groove = { groove: [], joints: [] };
let now = null;
let lastWord = 0;
const columns = { at_s: [], tension_n: [], expected_n: [], tool_m: [] };

function addPoints(points) {
  const newest = columns.at_s.at(-1) ?? -Infinity;
  points.at_s.forEach((t, n) => {
    // Points come twice around a reconnect: only newer ones count.
    if (t <= newest) return;
    for (const name of Object.keys(columns)) columns[name].push(points[name][n]);
  });
  const from = (columns.at_s.at(-1) ?? 0) - KEEP_S;
  const old = columns.at_s.findIndex((t) => t >= from);
  if (old > 0) for (const name of Object.keys(columns)) columns[name].splice(0, old);
}

function chart(id, label, reversed, series) {
  const place = at(id);
  const ink = getComputedStyle(document.documentElement).getPropertyValue("--ink");
  const pale = getComputedStyle(document.documentElement).getPropertyValue("--pale");
  const axis = { stroke: ink, grid: { stroke: pale, width: 1 } };
  return new uPlot({
    width: place.clientWidth || 600,
    height: 260,
    scales: { x: { time: false }, y: { dir: reversed ? -1 : 1 } },
    axes: [{ ...axis, label: "run time, s" }, { ...axis, label }],
    series: [{ label: "s" }, ...series],
    legend: { live: false },
  }, [[], ...series.map(() => [])], place);
}

let tensionChart = null;
let depthChart = null;

function build() {
  const style = getComputedStyle(document.documentElement);
  const ink = style.getPropertyValue("--ink");
  const mid = style.getPropertyValue("--mid");
  at("tension-chart").replaceChildren();
  at("depth-chart").replaceChildren();
  tensionChart = chart("tension-chart", show.force, false, [
    { label: "line tension", stroke: ink, width: 1.5 },
    { label: "expected", stroke: mid, dash: [6, 4], width: 1 },
  ]);
  depthChart = chart("depth-chart", show.length, true, [{ label: "wheels", stroke: ink, width: 1.5 }]);
}

function redraw() {
  requestAnimationFrame(redraw);
  const stale = performance.now() - lastWord > STALE_MS;
  document.body.classList.toggle("stale", stale && lastWord > 0);
  if (stale && lastWord > 0) say("link", "no data from the daemon: what is shown is old");
  if (!job || !changed) return;
  changed = false;
  const force = (list) => list.map((n) => (n === null ? null : show.toForce(n)));
  const length = (list) => list.map((m) => (m === null ? null : show.toLength(m)));
  tensionChart.setData([columns.at_s, force(columns.tension_n), force(columns.expected_n)]);
  depthChart.setData([columns.at_s, length(columns.tool_m)]);
  drawPipe(at("pipe"), job, groove.groove, now?.tool_depth_m ?? null, show);
}

let changed = false;

function tell(snapshot) {
  now = snapshot;
  say("tension", show.asForce(now.tension_n));
  say("expected", show.asForce(now.expected_n));
  say("limit", show.asForce(now.limit_n));
  say("depth", show.asLength(now.tool_depth_m));
  say("state", now.state + (now.direction ? `, ${now.direction}` : ""));
  say("strokes", String(now.strokes));
  say("drag", show.asForce(now.drag_n));
  at("alarms").replaceChildren(...now.alarms.map((alarm) => {
    const line = document.createElement("p");
    line.textContent = `${alarm.kind.toUpperCase()} – ${alarm.state}: ${alarm.message}`;
    return line;
  }));
}

function follow() {
  const stream = new EventSource("/api/v1/stream?since=" + (columns.at_s.at(-1) ?? -1));
  const on = (name, take) => stream.addEventListener(name, (event) => {
    lastWord = performance.now();
    take(JSON.parse(event.data));
    changed = true;
  });
  on("hello", (hello) => {
    if (job?.run_id !== hello.run_id) for (const name of Object.keys(columns)) columns[name] = [];
    job = hello;
    show = units(job.display);
    say("job", `${job.name} – ${job.well}`);
    say("link", job.speed === 1 ? "live" : `demonstration at ${job.speed} times its speed`);
    build();
  });
  on("points", addPoints);
  on("groove", (view) => { groove = view; });
  on("now", tell);
  on("told", () => {});
  on("health", (health) => {
    say("health", `recorded to ${health.recorded_s.toFixed(1)} s, ${(health.recorded_bytes / 1024).toFixed(0)} KiB`);
  });
  stream.onerror = () => {
    // A fresh stream asks for exactly what is missing.
    stream.close();
    say("link", "connection lost, trying again");
    setTimeout(follow, 1000);
  };
}

follow();
redraw();
