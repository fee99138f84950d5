// Joint by joint: how much is split, what is left, where it lags, and whether going on in place pays.
import { at, make, say } from "/dom.js";
import { readingBack } from "/store.js";
import { hoursMinutes } from "/time.js";

const mid = (list) => [...list].sort((a, b) => a - b)[list.length >> 1] ?? 0;

// Bins of a joint that count: a coupling cannot be reached by the cutter.
const binsOf = (joint, bins) =>
  bins.filter((bin) => !bin.coupling && bin.top_m >= joint.top_m - 1e-6 && bin.bottom_m <= joint.bottom_m + 1e-6);

// The part to be expected split, every place counted by its probability.
const splitPart = (bins) => bins.reduce((sum, bin) => sum + bin.through_probability, 0) / Math.max(1, bins.length);

// Below this part of the strokes over the place of a joint passed most, a place has been reached by chance, not worked.
const HARDLY_PART = 0.2;
// Fewer strokes than that into a joint none of its places can be told from the others yet.
const FEW = 10;

// The places that decide how many strokes a joint still wants, if the strokes hardly reach them: a figure made of one or
// two passes would be read as what the whole joint needs. `null`: the strokes get there.
function hardlyReached(bins) {
  const most = Math.max(0, ...bins.map((bin) => bin.passes));
  if (most < FEW) return null;
  const hardly = bins.filter((bin) => !bin.through && bin.passes < HARDLY_PART * most);
  return hardly.length > 0 ? hardly : null;
}

// Where they are in the joint, so that the turning point can be moved.
function placeOf(places, bins, show) {
  const reached = (bin) => !places.includes(bin);
  const [first, last] = [bins.findIndex(reached), bins.findLastIndex(reached)];
  const parts = [["top", bins.slice(0, first)], ["inside", places.filter((bin) => bins.indexOf(bin) > first && bins.indexOf(bin) < last)], ["bottom", bins.slice(last + 1)]];
  const long = (some) => show.lengthNumber(some.reduce((sum, bin) => sum + bin.bottom_m - bin.top_m, 0), 1);
  const words = parts.filter(([, some]) => some.length > 0).map(([where, some]) => `${where} ${long(some)}`);
  return `${words.join(", ")}\u00a0${show.length}`;
}

// Five joints have to fit on the screen with the charts: four digits tell them apart without tenths.
function rangeOf({ top_m, bottom_m }, show) {
  const digits = show.toLength(top_m) < 1000 ? 1 : 0;
  return `${show.lengthNumber(top_m, digits)}–${show.lengthNumber(bottom_m, digits)}`;
}

export function showJoints({ groove, joints, outlook }, show) {
  const rows = joints.map((joint, n) => {
    const bins = binsOf(joint, groove);
    const wall = bins[0]?.wall_mm ?? 0;
    const most = Math.max(0, wall - joint.min_depth_mm);
    const done = bins.length > 0 && bins.every((bin) => bin.through);
    const left = joint.strokes_left_p50;
    const hardly = done ? null : hardlyReached(bins);
    const told = !done && left !== null && hardly === null;
    const strokes = done ? "none" : told ? `${left.toFixed(0)}` : hardly === null ? "cannot tell" : "hardly reached:";
    const stroke = told ? outlook[n]?.stroke_s ?? null : null;
    const time = stroke === null ? "–" : hoursMinutes(left * stroke);
    // What nine in ten take no longer than, under the likely figure.
    const late = told ? joint.strokes_left_p90 : null;
    const upTo = (text) => make("small", { textContent: `to\u00a0${text}` });
    const sure = done ? joint.strokes_left_p90 ?? 0 : 0;
    const small = sure > 0 ? `to be sure ${sure.toFixed(0)}` : hardly === null ? null : placeOf(hardly, bins, show);
    const range = small !== null ? make("small", { textContent: small }) : late === null ? null : upTo(late.toFixed(0));
    const timeRange = late === null || stroke === null ? null : upTo(hoursMinutes(late * stroke));
    return make("tr", { className: done ? "done" : "" },
      make("td", {}, `${n + 1}`, make("small", { textContent: rangeOf(joint, show) })),
      make("td", { textContent: `${Math.round(splitPart(bins) * 100)}\u00a0%` }),
      make("td", { textContent: done ? "–" : show.wallNumber(most) }),
      make("td", { textContent: String(mid(bins.map((bin) => bin.passes))) }),
      make("td", {}, strokes, range),
      make("td", {}, time, timeRange));
  });
  at("joints").replaceChildren(...rows);
  say("joints-unit", show.wall);
  say("lagging", lagging(groove, joints, show));
  const more = joints.map((joint, n) => goingOn(n, binsOf(joint, groove), outlook[n], show)).filter(Boolean);
  say("outlook", more.length === 0 ? "" : `Ten more strokes in place deepen ${more.join("; ")}.`);
}

// Wheels that bite otherwise than those before: strokes left count by them. One that is lost is the crew's to look after.
export function showWheels(wheels, clock) {
  const newest = wheels.at(-1);
  at("other-wheels").hidden = newest === undefined;
  if (newest === undefined) return;
  const less = newest.counts < 1;
  at("other-wheels").dataset.level = newest.sudden && less ? "low" : "";
  const since = `${newest.sudden ? "at once " : ""}from stroke ${newest.from_stroke} on (${clock(newest.at_s)})`;
  const why = newest.sudden && less ? ": one lost or stuck?" : ".";
  say("other-wheels", `Wheels bite ${less ? "less" : "more"} ${since}${why} A pass counts ${newest.counts.toFixed(1)} of those before.`);
}

// Of ten more strokes in place: below this part of the wall, and with less than half a bin split, they hardly pay.
const PAYS_PART = 0.005;

// What ten more strokes bring in a joint; nothing of one that is split or not cut yet.
function goingOn(n, bins, outlook, show) {
  const deeper = outlook?.ten_deepen_mm ?? null;
  const wall = bins[0]?.wall_mm ?? 0;
  if (deeper === null || wall === 0 || bins.every((bin) => bin.through)) return "";
  if (deeper < PAYS_PART * wall && outlook.ten_split < 0.5) return `joint ${n + 1} by next to nothing`;
  const opened = outlook.ten_split * (bins[0].bottom_m - bins[0].top_m);
  const split = outlook.ten_split < 0.5 ? "" : `, opening about ${show.lengthNumber(opened, 1)} ${show.length}`;
  return `joint ${n + 1} by ${show.asFineWall(deeper)}${split}`;
}

// Stretches whose groove is behind the middle of their joint by more than an eighth of the wall
// and by more than they are uncertain.
function lagging(groove, joints, show) {
  const stretches = [];
  for (const joint of joints) {
    const bins = binsOf(joint, groove);
    const middle = mid(bins.map((bin) => bin.depth_mm));
    let run = null;
    for (const bin of bins) {
      const behind = !bin.through && bin.passes > 0 && bin.high_mm < middle && middle - bin.depth_mm > bin.wall_mm / 8;
      const left = bin.wall_mm - bin.depth_mm;
      if (!behind) run = null;
      else if (run !== null && Math.abs(run.bottom - bin.top_m) < 1e-6) {
        run.bottom = bin.bottom_m;
        run.left = Math.max(run.left, left);
      } else {
        run = { top: bin.top_m, bottom: bin.bottom_m, left };
        stretches.push(run);
      }
    }
  }
  if (groove.length === 0) return readingBack() === null ? "No cut seen yet." : "";
  if (stretches.length === 0) return "No part lags behind the rest of its joint.";
  stretches.sort((a, b) => b.left - a.left);
  const named = stretches.slice(0, 3)
    .map((one) => `${show.lengthNumber(one.top, 1)}–${show.lengthNumber(one.bottom, 1)} ${show.length} (${show.asWall(one.left)} left)`);
  const more = stretches.length > 3 ? ` and ${stretches.length - 3} more` : "";
  return `Lagging: ${named.join(", ")}${more}.`;
}
