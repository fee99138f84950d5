// What the tool does, in words; strokes, cutter, speeds.
import { at, say } from "/dom.js";
import { cutterMark, readingBack, store } from "/store.js";
import { counterLeapt, oldWord } from "/health.js";

const WORDS = {
  still: "STILL",
  free: "FREE",
  cutting: "CUTTING",
  stalled: "STALLED",
  slack: "SLACK",
  unknown: "NOT KNOWN",
};
const SHAPES = { stalled: "▲ ", slack: "◆ " };
// An arrow says that the tool moves.
const MOVES = ["free", "cutting"];

// `loadAgeS`: what the tool does, and where it is, is made of both instruments, and is as old as the older.
export function showTool(now, show, ageS, loadAgeS, oldAfterS) {
  const old = ageS === null || ageS > oldAfterS;
  const section = at("tool");
  section.classList.toggle("is-old", old);
  const half = loadAgeS === null || loadAgeS > oldAfterS;
  // Of a counter that leapt the speed is sound, but neither where the tool is nor what it would weigh there: drag, and
  // with it free or cutting.
  const astray = counterLeapt(now);
  for (const id of ["state", "wheels", "drag"]) at(id).classList.toggle("is-dim", half || astray);
  at("tool-speed").classList.toggle("is-dim", half);
  at("line-out").classList.toggle("is-dim", astray);
  section.dataset.word = now.state;
  at("depth-old").hidden = !old && !half && !astray;
  if (old) say("depth-old", oldWord(now, "depth"));
  else if (astray) say("depth-old", "WRONG: counter leapt, set it");
  else if (half) say("depth-old", oldWord(now, "load"));
  const way = now.direction === "up" ? " ↑" : now.direction === "down" ? " ↓" : "";
  const moving = MOVES.includes(now.state) ? way : "";
  at("state").setAttribute("aria-label", `${(WORDS[now.state] ?? now.state).toLowerCase()}${moving === "" ? "" : `, going ${now.direction}`}`);
  say("state", (SHAPES[now.state] ?? "") + (WORDS[now.state] ?? now.state) + moving);
  say("wheels", now.tool_depth_m === null ? "wheels –" : `${show.lengthNumber(now.tool_depth_m)} ${show.length}`);
  say("tool-speed", show.asSpeed(now.tool_speed_m_s));
  say("line-speed", show.asSpeed(now.line_speed_m_s));
  say("line-out", show.asLength(now.line_m));
  // What the crew has marked holds at once, where the drag does not speak against marks; the estimate follows with the
  // next stroke.
  const marked = cutterMark();
  const said = marked === undefined ? null : (marked.mark === "cutter_out") !== now.marks_turned;
  const doubted = now.marks_doubted.length > 0;
  const out = said === null || doubted ? now.cutter_out : said;
  say("cutter", out === null ? "no mark" : out ? "OUT" : "IN");
  // Why it is not what was marked stands with the marks.
  say("cutter-name", said !== null && (now.marks_turned || doubted && out !== said) ? "cutter, by drag" : "cutter");
  // At a turning point the direction is undecided, and drag with it.
  say("drag", now.state === "still" ? "–" : show.asDrag(now.drag_n));
  // Running in and weight checks are strokes too, and cut nothing.
  const known = readingBack() === null;
  say("strokes", known ? String(now.strokes_out) : "–");
  say("strokes-all", known ? ` of ${now.strokes}` : "");
}
