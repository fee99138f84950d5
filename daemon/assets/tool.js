// What the tool does, in words; strokes, cutter, speeds.
import { at, say } from "/dom.js";
import { lasting } from "/time.js";

const WORDS = {
  still: "STILL",
  free: "FREE",
  cutting: "CUTTING",
  stalled: "STALLED",
  slack: "SLACK",
  unknown: "NOT KNOWN",
};
const SHAPES = { stalled: "▲ ", slack: "▲ " };

export function showTool(now, show, ageS, oldAfterS) {
  const old = ageS === null || ageS > oldAfterS;
  const section = at("tool");
  section.classList.toggle("is-old", old);
  section.dataset.word = now.state;
  at("depth-old").hidden = !old;
  if (old) say("depth-old", ageS === null ? "no depth reading yet" : `OLD: depth silent for ${lasting(ageS)}`);
  const way = now.direction === "up" ? " ↑ up" : now.direction === "down" ? " ↓ down" : "";
  const moving = now.state === "still" || now.state === "unknown" ? "" : way;
  say("state", (SHAPES[now.state] ?? "") + (WORDS[now.state] ?? now.state) + moving);
  const error = now.tool_depth_error_m === null ? "" : ` ± ${show.lengthNumber(now.tool_depth_error_m, 1)}`;
  say("wheels", now.tool_depth_m === null ? "wheels –" : `${show.lengthNumber(now.tool_depth_m)}${error} ${show.length}`);
  say("tool-speed", show.asSpeed(now.tool_speed_m_s));
  say("line-speed", show.asSpeed(now.line_speed_m_s));
  say("line-out", show.asLength(now.line_m));
  say("cutter", now.cutter_out === null ? "not marked" : now.cutter_out ? "OUT" : "IN");
  say("drag", show.asDrag(now.drag_n));
  say("strokes", String(now.strokes));
}
