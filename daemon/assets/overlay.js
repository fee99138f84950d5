// Tension of the last strokes against depth, up over down, beside the pipe on the same depth axis:
// where they part more than they used to, something drags.
import { at, brush, colour, rem } from "/dom.js";
import { depthAxis, ticks } from "/pipe.js";
import { KEEP_S, indexAt, store } from "/store.js";

const BEFORE = 4;
const ROWS = 140;

// Mean of a column by depth row over one stroke; `null` where the wheels have not been.
function profile(from_s, to_s, axis, column) {
  const { at_s, tool_m } = store.points;
  const values = store.points[column];
  const sums = new Float64Array(ROWS);
  const counts = new Uint16Array(ROWS);
  for (let n = indexAt(from_s); n < at_s.length && at_s[n] <= to_s; n += 1) {
    const row = Math.floor((tool_m[n] - axis.from) / (axis.to - axis.from) * ROWS);
    if (tool_m[n] === null || values[n] === null || !(row >= 0 && row < ROWS)) continue;
    sums[row] += values[n];
    counts[row] += 1;
  }
  return Array.from(sums, (sum, row) => (counts[row] > 0 ? sum / counts[row] : null));
}

// Finished strokes are drawn again and again: their profiles are worked out once.
const known = new Map();
function profileOf(stroke, axis, column) {
  const key = `${store.job.run_id} ${stroke.n} ${column} ${axis.from} ${axis.to}`;
  if (!known.has(key)) {
    if (known.size > 200) known.clear();
    known.set(key, profile(stroke.start_s, stroke.end_s, axis, column));
  }
  return known.get(key);
}

export function drawOverlay(job, now, show) {
  const { paint, width, height } = brush(at("overlay"));
  if (width === 0) return;
  const size = rem() * 0.75;
  const axis = depthAxis(job, store.groove.groove, height);
  const inside = store.strokes.filter((stroke) => stroke.bottom_m > job.interval_top_m && stroke.top_m < job.interval_bottom_m);
  const recent = inside.slice(-2 * (BEFORE + 1));
  const lines = recent.map((stroke, n) => ({
    up: stroke.direction === "up",
    newest: n >= recent.length - 2,
    rows: profileOf(stroke, axis, "tension_n"),
    base: profileOf(stroke, axis, "expected_n"),
  }));
  const last = store.strokes.at(-1);
  if (now !== null && now.direction !== null) {
    // The stroke under way is part of the picture.
    const from = last?.end_s ?? -Infinity;
    lines.push({ up: now.direction === "up", newest: true, rows: profile(from, now.at_s, axis, "tension_n"), base: profile(from, now.at_s, axis, "expected_n") });
  }
  const values = lines.flatMap((line) => [...line.rows, ...line.base]).filter((value) => value !== null);
  paint.font = `600 ${size}px system-ui, sans-serif`;
  if (values.length === 0) {
    paint.fillStyle = colour("--mid");
    paint.textAlign = "center";
    // The page keeps the readings of an hour.
    const old = recent.length > 0 && now !== null && now.at_s - recent.at(-1).end_s > KEEP_S;
    const words = old ? ["last stroke", "over an hour ago"] : ["no stroke", "in the interval yet"];
    words.forEach((word, n) => paint.fillText(word, width / 2, height / 3 + n * size * 1.4));
    return;
  }
  const low = Math.min(...values);
  const high = Math.max(...values);
  // A tool that runs free is a narrow band, not a picture full of noise.
  const room = Math.max((high - low) * 0.08, (400 - (high - low)) / 2);
  const [from, to] = [low - room, high + room];
  const left = size * 0.8;
  const right = width - size * 0.6;
  const x = (n) => left + (n - from) / (to - from) * (right - left);
  const y = (row) => axis.top + (row + 0.5) / ROWS * (axis.bottom - axis.top);
  grid(paint, axis, x, from, to, show, size, height, right - left);
  paint.lineJoin = "round";
  for (const line of lines.filter((one) => one.newest)) shade(paint, line, x, y);
  for (const line of lines) {
    trace(paint, line.rows, x, y, {
      stroke: colour(line.newest ? (line.up ? "--ink" : "--mid") : "--line"),
      width: line.newest ? 2.5 : 1.2,
      dash: line.up ? [] : [7, 4],
    });
    if (line.newest) trace(paint, line.base, x, y, { stroke: colour("--mid"), width: 1.5, dash: [2, 3] });
  }
}

function grid(paint, axis, x, from, to, show, size, height, wide) {
  paint.strokeStyle = colour("--line");
  paint.lineWidth = 1;
  paint.fillStyle = colour("--ink");
  paint.textAlign = "center";
  paint.textBaseline = "alphabetic";
  const factor = show.toForce(1);
  for (const tick of ticks(from * factor, to * factor, wide, size * 4.5)) {
    const at_x = x(tick / factor);
    paint.beginPath();
    paint.moveTo(at_x, axis.top);
    paint.lineTo(at_x, axis.bottom);
    paint.stroke();
    const half = paint.measureText(String(tick)).width / 2;
    paint.fillText(String(tick), Math.min(at_x, x(to) + size * 0.6 - half), height - size * 0.4);
  }
  paint.textAlign = "right";
  paint.fillText(show.force, x(to), size);
}

// Drag is the area between the stroke and what was expected.
function shade(paint, line, x, y) {
  const rows = [...line.rows.keys()].filter((row) => line.rows[row] !== null && line.base[row] !== null);
  if (rows.length < 2) return;
  paint.fillStyle = colour("--line");
  paint.globalAlpha = 0.55;
  paint.beginPath();
  for (const row of rows) paint.lineTo(x(line.rows[row]), y(row));
  for (const row of rows.reverse()) paint.lineTo(x(line.base[row]), y(row));
  paint.fill();
  paint.globalAlpha = 1;
}

function trace(paint, rows, x, y, { stroke, width, dash }) {
  paint.strokeStyle = stroke;
  paint.lineWidth = width;
  paint.setLineDash(dash);
  paint.beginPath();
  let pen = false;
  rows.forEach((value, row) => {
    // A row without a point is a fast stroke, not a hole: the line goes on over a few of them.
    if (value === null) return;
    if (pen) paint.lineTo(x(value), y(row));
    else paint.moveTo(x(value), y(row));
    pen = true;
  });
  paint.stroke();
  paint.setLineDash([]);
}
