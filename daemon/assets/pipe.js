// The interval drawn true to depth: wall left in every bin and how sure that is, couplings, split
// stretches, the wheels. The overlay beside it uses the same depth axis.
import { at, brush, colour, rem } from "/dom.js";

const MARGIN = 0.03;

// Depth to screen, the same for strip and overlay: the interval, and what was cut beyond it.
export function depthAxis(job, bins, height) {
  const margin = (job.interval_bottom_m - job.interval_top_m) * MARGIN;
  const from = Math.min(job.interval_top_m, bins[0]?.top_m ?? Infinity) - margin;
  const to = Math.max(job.interval_bottom_m, bins.at(-1)?.bottom_m ?? -Infinity) + margin;
  const top = rem() * 1.2;
  const bottom = height - rem() * 1.5;
  return { from, to, top, bottom, y: (depth) => top + (depth - from) / (to - from) * (bottom - top) };
}

// Steps of 1, 2 or 5 so that labels stay apart.
export function ticks(from, to, room, apart) {
  const rough = (to - from) / Math.max(1, room / apart);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((n) => n * power).find((n) => n >= rough);
  const list = [];
  for (let n = Math.ceil(from / step); n * step <= to; n += 1) list.push(n * step);
  return list;
}

export function drawPipe(job, bins, now, show, old) {
  const { paint, width, height } = brush(at("pipe"));
  if (width === 0) return;
  const size = rem() * 0.75;
  const axis = depthAxis(job, bins, height);
  const left = size * 4.6;
  const right = width - size * 1.4;
  const most = Math.max(job.wall_mm, ...bins.map((bin) => bin.wall_mm));
  // The outer skin of the pipe is on the right: the groove eats its way to it from the left.
  const x = (mm) => right - Math.min(Math.max(mm, 0) / most, 1) * (right - left);
  paint.font = `600 ${size}px system-ui, sans-serif`;

  paint.fillStyle = colour("--paper");
  paint.fillRect(left, axis.y(job.interval_top_m), right - left, axis.y(job.interval_bottom_m) - axis.y(job.interval_top_m));
  // Before the first stroke the whole wall is there; after strokes of which nothing could be worked out, nobody knows.
  const untold = bins.length === 0 && (now?.strokes ?? 0) > 0;
  if (bins.length === 0) drawUncut(paint, job, untold ? "--unsure" : "--wall", axis, left, right);
  bins.forEach((bin) => drawBin(paint, bin, axis, x, left, right));
  paint.strokeStyle = colour("--faint");
  paint.lineWidth = 1;
  paint.strokeRect(left, axis.y(job.interval_top_m), right - left, axis.y(job.interval_bottom_m) - axis.y(job.interval_top_m));
  drawCouplings(paint, job, axis, left, right, size);
  if (untold) sayUntold(paint, axis, left, right, size);
  nameSplits(paint, bins, axis, left, right, size);
  drawLabels(paint, axis, now, show, left, right, height, size, most);
  drawWheels(paint, axis, now, show, left, width, size, old);
}

function drawUncut(paint, job, wall, axis, left, right) {
  paint.fillStyle = colour(wall);
  const top = axis.y(job.interval_top_m);
  paint.fillRect(left, top, right - left, axis.y(job.interval_bottom_m) - top);
}

function sayUntold(paint, axis, left, right, size) {
  const middle = (axis.top + axis.bottom) / 2;
  paint.fillStyle = colour("--paper");
  paint.fillRect(left + 2, middle - size * 1.6, right - left - 4, size * 3.2);
  paint.fillStyle = colour("--ink");
  paint.textAlign = "center";
  paint.textBaseline = "middle";
  ["no groove", "told yet"].forEach((line, n) => paint.fillText(line, (left + right) / 2, middle + (n - 0.5) * size * 1.3));
}

function drawBin(paint, bin, axis, x, left, right) {
  // On whole pixels, so that neighbours meet without a seam.
  const top = Math.round(axis.y(bin.top_m));
  const tall = Math.max(1, Math.round(axis.y(bin.bottom_m)) - top);
  if (bin.through) {
    paint.fillStyle = colour("--split");
    paint.fillRect(left, top, right - left, tall);
    return;
  }
  const sure = x(bin.wall_mm - bin.high_mm);
  const unsure = x(bin.wall_mm - bin.low_mm);
  paint.fillStyle = colour("--unsure");
  paint.fillRect(unsure, top, sure - unsure, tall);
  paint.fillStyle = colour("--wall");
  paint.fillRect(sure, top, right - sure, tall);
  // The estimate itself: one dark edge.
  paint.fillStyle = colour("--ink");
  paint.fillRect(x(bin.wall_mm - bin.depth_mm) - 1, top, 2, tall);
}

function drawCouplings(paint, job, axis, left, right, size) {
  paint.strokeStyle = colour("--ink");
  paint.lineWidth = 2;
  for (const depth of job.couplings_m) {
    if (depth < axis.from || depth > axis.to) continue;
    const top = axis.y(depth - job.coupling_length_m / 2);
    const tall = Math.max(8, axis.y(depth + job.coupling_length_m / 2) - top);
    paint.strokeRect(left - 6, top, right - left + 12, tall);
    paint.strokeRect(left - 2, top + 3, right - left + 4, Math.max(2, tall - 6));
  }
}

function nameSplits(paint, bins, axis, left, right, size) {
  let run = null;
  const name = () => {
    if (run === null) return;
    const top = axis.y(run.top);
    const tall = axis.y(run.bottom) - top;
    if (tall > size * 1.3) {
      paint.fillStyle = colour("--on-split");
      paint.textAlign = "center";
      paint.textBaseline = "middle";
      paint.fillText("SPLIT", (left + right) / 2, top + tall / 2);
    }
  };
  for (const bin of bins) {
    if (!bin.through) { name(); run = null; continue; }
    if (run === null) run = { top: bin.top_m, bottom: bin.bottom_m };
    else run.bottom = bin.bottom_m;
  }
  name();
}

function drawLabels(paint, axis, now, show, left, right, height, size, most) {
  paint.fillStyle = colour("--ink");
  paint.textAlign = "right";
  paint.textBaseline = "middle";
  const shown = ticks(show.toLength(axis.from), show.toLength(axis.to), axis.bottom - axis.top, size * 3.2);
  for (const tick of shown) {
    const y = axis.y(show.fromLength(tick));
    // The wheels' own figure stands there.
    if (now !== null && now.tool_depth_m !== null && Math.abs(y - pointerAt(axis, now.tool_depth_m)) < size * 1.6) continue;
    paint.fillText(String(Math.round(tick * 10) / 10), left - size * 1.5, y);
  }
  paint.textBaseline = "alphabetic";
  paint.fillText("0", right, height - size * 0.4);
  paint.textAlign = "left";
  paint.fillText(show.asWall(most), left, height - size * 0.4);
}

const beyondOf = (axis, depth) => (depth < axis.from ? "▲ " : depth > axis.to ? "▼ " : "");
const pointerAt = (axis, depth) => (depth < axis.from ? axis.top - rem() * 0.5 : depth > axis.to ? axis.bottom + rem() * 0.5 : axis.y(depth));

// A pointer at the wheels with their depth; outside the interval an arrow says where they are.
function drawWheels(paint, axis, now, show, left, width, size, old) {
  if (now === null || now.tool_depth_m === null) return;
  const depth = now.tool_depth_m;
  paint.globalAlpha = old ? 0.35 : 1;
  const beyond = beyondOf(axis, depth);
  const y = pointerAt(axis, depth);
  paint.fillStyle = colour("--ink");
  paint.strokeStyle = colour("--ink");
  paint.lineWidth = 2;
  if (beyond === "") {
    paint.setLineDash([2, 3]);
    paint.beginPath();
    paint.moveTo(left, y);
    paint.lineTo(width, y);
    paint.stroke();
    paint.setLineDash([]);
  }
  const text = beyond + show.lengthNumber(depth, 1);
  paint.font = `700 ${size * 1.15}px system-ui, sans-serif`;
  const wide = paint.measureText(text).width + size * 0.7;
  const tall = size * 1.8;
  // Its own words must not cover those of the axis below.
  const box = Math.min(Math.max(y - tall / 2, 0), axis.bottom + size * 0.4 - tall);
  paint.fillStyle = colour("--ink");
  paint.beginPath();
  paint.roundRect(0, box, wide, tall, 4);
  if (beyond === "") {
    paint.moveTo(wide - 2, box + tall * 0.1);
    paint.lineTo(Math.max(left - 2, wide + 6), y);
    paint.lineTo(wide - 2, box + tall * 0.9);
  }
  paint.fill();
  paint.fillStyle = colour("--paper");
  paint.textAlign = "left";
  paint.textBaseline = "middle";
  paint.fillText(text, size * 0.3, box + tall / 2 + 1);
  paint.globalAlpha = 1;
}
