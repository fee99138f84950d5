// Line tension now, against what is expected and what the line may bear.
import { at, brush, colour, rem, say } from "/dom.js";
import { counterLeapt, oldWord } from "/health.js";
import { preferences } from "/preferences.js";
import { readingBack, store } from "/store.js";
import { clockOf, hms } from "/time.js";

// The last tension known, for when none comes any more: shown grey, said to be old.
let last = null;

export function showTension(now, show, ageS, oldAfterS) {
  if (now.tension_n !== null) last = now.tension_n;
  const old = ageS === null || ageS > oldAfterS || now.tension_n === null;
  at("tension").classList.toggle("is-old", old);
  at("tension-old").hidden = !old;
  if (old) say("tension-old", oldWord(now, "load"));
  const number = show.forceNumber(last);
  say("tension-value", number);
  at("tension-value").dataset.digits = number.length > 4 ? "many" : "few";
  say("tension-unit", show.force);
  say("expected", show.asForce(now.expected_n));
  say("limit", show.asForce(now.limit_n));
  const excess = now.expected_n === null || last === null ? null : last - now.expected_n;
  say("excess-title", excess !== null && excess < 0 ? "below expected" : "above expected");
  say("excess", show.asForce(excess === null ? null : Math.abs(excess)));
  // What is expected rests on the depth.
  const astray = counterLeapt(now);
  for (const id of ["expected", "excess"]) at(id).classList.toggle("is-dim", astray);
  sayTime(old ? null : now, show);
  sayHighest(old ? now.highest : highestOf(now), show);
  gauge(now, show);
}

// What is judged of the whole run comes a second later than the reading itself.
function highestOf({ highest, tension_n, limit_n, at_s }) {
  return highest !== null && tension_n > highest.tension_n ? { at_s, tension_n, limit_n } : highest;
}

// How high it went in this run: stays when all alarms have been dealt with, for whoever looks at the line afterwards.
function sayHighest(highest, show) {
  const place = at("highest");
  place.hidden = highest === null;
  if (highest === null) return;
  const isOver = highest.tension_n >= highest.limit_n;
  place.dataset.level = isOver ? "high" : "none";
  const when = hms(clockOf(store.job.started_utc, highest.at_s), preferences.clock === "utc", false);
  // Of the record that is being read back it is not known yet.
  const since = readingBack() === null ? "" : " since the restart";
  const share = Math.floor(100 * highest.tension_n / highest.limit_n);
  say("highest", `${isOver ? "▲ " : ""}highest${since} ${show.asForce(highest.tension_n)} at ${when}, ${share} % of limit`);
}

function sayTime(now, show) {
  const place = at("to-limit");
  let level = "none";
  let shape = "";
  let text = "";
  if (now === null) {
    // Nothing can be said of what isn't measured.
  } else if (now.tension_n >= now.limit_n) {
    [level, shape, text] = ["high", "▲▲ ", now.tension_n > now.limit_n ? "OVER THE LIMIT" : "AT THE LIMIT"];
  } else if (now.time_to_limit_s !== null) {
    const s = now.time_to_limit_s;
    if (s < 2) [level, shape] = ["high", "▲▲ "];
    else if (s < 5) [level, shape] = ["low", "▲ "];
    else [level, shape] = ["rising", "△ "];
    text = s > 60 ? "rising, limit far off" : s < 5 ? `LIMIT IN ${s.toFixed(1)} s` : `limit in ${s.toFixed(0)} s at this rate`;
  } else {
    text = `${show.asForce(now.limit_n - (now.tension_n ?? 0))} below the limit`;
  }
  place.dataset.level = level;
  say("to-limit-shape", shape);
  say("to-limit-text", text);
}

// A bar from zero to the limit: filled to the tension, a notch at the expected, a wall at the limit.
function gauge(now, show) {
  const { paint, width, height } = brush(at("gauge"));
  if (width === 0) return;
  const tension = last ?? 0;
  const most = Math.max(now.limit_n * 1.08, tension * 1.02, 1);
  const x = (n) => 2 + Math.max(0, n) / most * (width - 4);
  const top = height * 0.3;
  const tall = height * 0.4;
  paint.fillStyle = colour("--line");
  paint.fillRect(2, top, x(now.limit_n) - 2, tall);
  const abnormal = tension >= now.limit_n ? "--high" : tension >= 0.9 * now.limit_n ? "--low" : "--mid";
  paint.fillStyle = colour(abnormal);
  paint.fillRect(2, top, x(tension) - 2, tall);
  paint.fillStyle = colour("--ink");
  paint.fillRect(x(now.limit_n) - 3, top - 8, 6, tall + 16);
  paint.font = `600 ${rem() * 0.72}px system-ui, sans-serif`;
  paint.textBaseline = "bottom";
  paint.textAlign = "right";
  paint.fillText("limit", x(now.limit_n) - 8, top - 1);
  if (now.expected_n !== null) {
    const e = x(now.expected_n);
    paint.beginPath();
    paint.moveTo(e, top + tall + 1);
    paint.lineTo(e - 8, height - 4);
    paint.lineTo(e + 8, height - 4);
    paint.fill();
    paint.fillStyle = colour("--panel");
    paint.fillRect(e - 1, top, 2, tall);
    paint.fillStyle = colour("--ink");
    paint.textBaseline = "alphabetic";
    const toLeft = e > width * 0.7;
    paint.textAlign = toLeft ? "right" : "left";
    paint.fillText("expected", e + (toLeft ? -12 : 12), height - 4);
  }
  at("gauge").setAttribute("aria-label", `Tension ${show.asForce(last)}, expected ${show.asForce(now.expected_n)}, limit ${show.asForce(now.limit_n)}`);
}
