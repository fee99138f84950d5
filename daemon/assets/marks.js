// The operator's marks: who, what, and for what changes depth a second question.
import { at, make, tell } from "/dom.js";
import { ask, authorField, field, post } from "/ask.js";
import { keep, preferences } from "/preferences.js";
import { cutterMark, store } from "/store.js";
import { clockOf, hms } from "/time.js";
import { weightCheck } from "/weight.js";

export const MARK_NAMES = {
  cutter_out: "Cutter out", cutter_in: "Cutter in", weight_check: "Weight check", note: "Note", zero: "New zero",
  reference_depth: "Reference depth", acknowledge: "Acknowledged", shelve: "Shelved", reset: "Reset",
  alarms_before: "Alarms taken over",
};

// What the daemon notes as a run starts (that the job was changed, that another run was left behind) says what to do at
// once: for so long it stands above all cards, if nobody puts it away.
const START_S = 10;
const NOTICE_S = 1800;

async function send(body) {
  try {
    await post("/api/v1/marks", body);
    tell(`${MARK_NAMES[body.mark]}: recorded`);
    return true;
  } catch (error) {
    tell(`${MARK_NAMES[body.mark]}: ${error.message}`);
    return false;
  }
}

async function plain(mark, text) {
  const author = authorField();
  const who = await ask({ title: MARK_NAMES[mark], body: [make("p", { textContent: text }), ...author.nodes], ok: "Mark now", read: author.read });
  if (who !== null) await send({ mark, author: who });
}

async function note() {
  const words = field("note", { rows: 3, maxLength: 500, id: "note" });
  const author = authorField();
  const said = await ask({
    title: "Note",
    body: [...words.nodes, ...author.nodes],
    ok: "Mark now",
    read: () => {
      const text = words.input.value.trim();
      if (text === "") throw new Error("The note is empty: write what happened.");
      return { text, author: author.read() };
    },
  });
  if (said !== null) await send({ mark: "note", ...said });
}

function metresOf(input, show) {
  const value = Number(input.value.trim().replace(",", "."));
  if (input.value.trim() === "" || !Number.isFinite(value)) throw new Error(`A number is needed, in ${show.length}.`);
  return show.fromLength(value);
}

async function zero(show) {
  const value = field(`line paid out now, ${show.length}`, { inputMode: "decimal", value: "0", id: "metres" });
  const author = authorField();
  const said = await ask({
    title: "New zero of the depth counter",
    body: [make("p", { textContent: `The counter was set anew. It shows ${show.asLength(store.now?.line_m ?? null)} here.` }), ...value.nodes, ...author.nodes],
    ok: "Next",
    read: () => ({ metres: metresOf(value.input, show), author: author.read() }),
  });
  if (said === null) return;
  const sure = await ask({
    id: "confirm",
    title: "Every depth from here on moves",
    body: [make("p", { className: "live", textContent: `${show.asLength(store.now?.line_m ?? null)} becomes ${show.asLength(said.metres)}` }),
      make("p", { textContent: "The groove found so far keeps its depth. Set the new zero?" })],
    ok: "Set new zero",
  });
  if (sure !== null) await send({ mark: "zero", ...said });
}

async function reference(show) {
  const value = field(`the wheels are known to be at, ${show.length}`, { inputMode: "decimal", id: "metres" });
  const author = authorField();
  const near = (store.job?.couplings_m ?? []).slice(0, 9).map((depth) =>
    make("button", { type: "button", textContent: show.lengthNumber(depth, 1), onclick: () => { value.input.value = show.lengthNumber(depth); } }));
  const said = await ask({
    title: "Reference depth",
    body: [make("p", { textContent: `Estimated now: ${show.asLength(store.now?.tool_depth_m ?? null)}. Couplings of the tally:` }),
      make("div", { className: "choice" }, ...near), ...value.nodes, ...author.nodes],
    ok: "Mark now",
    read: () => ({ metres: metresOf(value.input, show), author: author.read() }),
  });
  if (said !== null) await send({ mark: "reference_depth", ...said });
}

// What a mark of the cutter will be taken to mean. Words that were turned round hold as said from where one is said again.
function taken(mark) {
  const turned = store.now?.marks_turned ?? false;
  const last = cutterMark();
  const again = turned && last?.mark === mark;
  const out = (mark === "cutter_out") !== (turned && !again);
  const why = again ? "Said again, marks are taken as set from now on. "
    : turned ? "Marks of this run are taken the other way round, because drag rose after “in”. " : "";
  return why + (out ? "From now on the wheels are out: passes count."
    : "From now on the wheels are in: the tool runs free and friction is learned.");
}

export function connectMarks(shown) {
  const run = {
    cutter_out: () => plain("cutter_out", taken("cutter_out")),
    cutter_in: () => plain("cutter_in", taken("cutter_in")),
    weight_check: () => weightCheck(shown(), send),
    note,
    zero: () => zero(shown()),
    reference_depth: () => reference(shown()),
  };
  at("notice-close").onclick = () => {
    keep("seen", store.job.run_id);
    if (store.now !== null) showNotice(store.now, shown());
  };
  window.addEventListener("resize", sizeNotice);
  for (const button of document.querySelectorAll("[data-mark]")) button.onclick = run[button.dataset.mark];
}

export function showMarks(show) {
  const utc = preferences.clock === "utc";
  at("marks").replaceChildren(...store.marks.slice(-30).reverse().map((mark) =>
    make("li", {}, make("time", { textContent: hms(clockOf(store.job.started_utc, mark.at_s), utc) }),
      `${MARK_NAMES[mark.mark] ?? mark.mark}${mark.text === "" ? "" : `: ${show.reworded(mark.text)}`}${mark.author === "" ? "" : ` – ${mark.author}`}`)));
}

// Above the cards, until it is put away or half an hour has passed.
let shownNotice = null;
export function showNotice(now, show) {
  const notes = now.watched_s > NOTICE_S || preferences.seen === store.job.run_id ? []
    : store.marks.filter((mark) => mark.mark === "note" && mark.author === "kerfwatchd" && mark.at_s < START_S);
  const text = notes.map((mark) => show.reworded(mark.text));
  const key = JSON.stringify(text);
  if (key === shownNotice) return;
  shownNotice = key;
  at("notice").hidden = text.length === 0;
  at("notice-text").replaceChildren(...text.map((words) => make("p", { textContent: `${words[0].toUpperCase()}${words.slice(1)}.` })));
  sizeNotice();
}

// What it takes of the height is missing below.
function sizeNotice() {
  const taken = at("notice").offsetHeight;
  document.documentElement.classList.toggle("has-notice", taken > 0);
  document.documentElement.style.setProperty("--notice", `${taken}px`);
}

// Marks that are not taken as they were set: which, what the drag says, what was assumed, what to do.
let shownDoubts = "";
export function showDoubts(doubts) {
  const utc = preferences.clock === "utc";
  const key = JSON.stringify([utc, doubts]);
  if (key === shownDoubts) return;
  shownDoubts = key;
  at("marks-doubted").hidden = doubts.length === 0;
  at("marks-doubted").replaceChildren(...doubts.map((doubt) =>
    make("p", {}, make("time", { textContent: hms(clockOf(store.job.started_utc, doubt.mark_s), utc) }), ` ${doubt.message}`)),
  make("p", { textContent: "Mark the cutter as it is now, and again when it goes the other way." }));
}
