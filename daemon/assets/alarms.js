// Alarms: the row at the top, the list, acknowledging, shelving, resetting.
import { at, make, say, tell } from "/dom.js";
import { ask, authorField, post } from "/ask.js";
import { preferences } from "/preferences.js";
import { soundFor, soundIsOn } from "/sound.js";
import { alarmsNow, readingBack, store } from "/store.js";
import { clockOf, hms } from "/time.js";

const NAMES = {
  overpull: "OVERPULL", approaching: "LIMIT NEAR", slack: "SLACK LINE", stall: "TOOL STALLED", speed: "TOO FAST",
  upper_stop: "UPPER STOP", lower_stop: "LOWER STOP", sensor: "INSTRUMENT", line_life: "LINE LIFE",
  recorder: "RECORDER", forward: "FORWARDING", output: "ALARM OUTPUT",
};
const STATES = {
  unacknowledged: "new", acknowledged: "acknowledged, still on",
  returned_unacknowledged: "over, not acknowledged", latched_unacknowledged: "over, held until acknowledged and reset",
  latched_acknowledged: "over, held until reset", shelved: "shelved", out_of_service: "out of service",
};
const UNSEEN = ["unacknowledged", "returned_unacknowledged", "latched_unacknowledged"];
const ASIDE = ["shelved", "out_of_service", "suppressed"];
const SHELVE_MIN = [5, 15, 30, 60];
// Its condition is gone, also where it still counts as standing as it came twice within a minute.
const over = (alarm) => alarm.is_past || /^(returned|latched)/.test(alarm.state);
const PAST = { unacknowledged: "past, not acknowledged", acknowledged: "past, acknowledged" };
const stateName = (alarm) => (alarm.is_past && PAST[alarm.state]) || (STATES[alarm.state] ?? alarm.state);
const unseen = (alarm) => UNSEEN.includes(alarm.state);
const nameOf = (kind) => NAMES[kind] ?? kind.toUpperCase();
// Which of several: the load cell or the encoder, this horn or that.
const SENSORS = { load: "LOAD CELL", depth: "DEPTH COUNTER" };
const fullName = (alarm) => (alarm.kind === "sensor" && SENSORS[alarm.about]) || `${nameOf(alarm.kind)}${alarm.about ? ` ${alarm.about.toUpperCase()}` : ""}`;
const shapeOf = (level) => (level === "high" ? "▲" : "◆");

// By what may come of it: the line may part; the tool or the line hangs; nobody measures; all the rest.
const WORST = [["overpull", "approaching"], ["stall", "slack"], ["sensor"]];
const gravity = (kind) => {
  const n = WORST.findIndex((kinds) => kinds.includes(kind));
  return n < 0 ? WORST.length : n;
};

// The limit itself before all of them. Then what nobody has dealt with, by what may come of it: an overpull that is
// over may have hurt the line, and must not hide behind a load cell that is back. Of equals what lasts before what is
// over, high before low, and the order of the daemon (the first cause first).
export function ranked(alarms) {
  const key = (alarm) => [
    alarm.kind === "overpull" && alarm.level === "high" && !over(alarm) && !ASIDE.includes(alarm.state) ? 0 : 1,
    ASIDE.includes(alarm.state) ? 1 : 0,
    unseen(alarm) ? 0 : 1,
    gravity(alarm.kind),
    over(alarm) ? 1 : 0,
    alarm.level === "high" ? 0 : 1,
  ];
  return alarms.map((alarm, n) => ({ alarm, key: [...key(alarm), n] })).sort((one, other) => {
    const n = one.key.findIndex((value, at) => value !== other.key[at]);
    return n < 0 ? 0 : one.key[n] - other.key[n];
  }).map((one) => one.alarm);
}

// What is done reaches the alarm that the row or the dialog names, and no other of its kind.
async function act(alarm, action, body = {}) {
  try {
    await post(`/api/v1/alarms/${alarm.kind}/${action}`, { author: preferences.author, about: alarm.about ?? "", ...body });
    tell(`${fullName(alarm)}: ${action} sent`);
  } catch (error) {
    tell(`${fullName(alarm)}: ${error.message}`);
  }
}

async function shelve(alarm) {
  let minutes = 15;
  const buttons = SHELVE_MIN.map((n) => {
    const button = make("button", { type: "button", textContent: `${n} min`, "aria-pressed": String(n === minutes) });
    button.onclick = () => {
      minutes = n;
      buttons.forEach((other) => other.setAttribute("aria-pressed", String(other === button)));
    };
    return button;
  });
  const author = authorField();
  const who = await ask({
    title: `Shelve ${fullName(alarm)}`,
    body: [make("p", { textContent: "It makes no sound and no banner until the time is over. The recording goes on." }), make("div", { className: "choice" }, ...buttons), ...author.nodes],
    ok: "Shelve",
    read: author.read,
  });
  if (who !== null) await act(alarm, "shelve", { seconds: minutes * 60 });
}

// An overpull at the limit can't be put aside, and what is wrong with the daemon is mended, not
// shelved: the daemon refuses it too.
const mayShelve = ({ kind }) => !["recorder", "output", "forward"].includes(kind)
  && (kind !== "overpull" || alarmsNow().every((other) => other.kind !== "overpull" || other.level !== "high"));

const clockTime = (s) => hms(clockOf(store.job.started_utc, s), preferences.clock === "utc");
const stateOf = (alarm) => stateName(alarm)
  + (alarm.state === "shelved" && alarm.until_s !== null ? ` until ${clockTime(alarm.until_s)}` : "");

function buttonsFor(alarm) {
  const buttons = [];
  const add = (text, run, key) => {
    const button = make("button", { type: "button", textContent: text, onclick: run });
    if (key) button.setAttribute("aria-keyshortcuts", key);
    buttons.push(button);
  };
  if (unseen(alarm)) add("Acknowledge", () => act(alarm, "acknowledge"), "a");
  if (alarm.state === "latched_acknowledged") add("Reset", () => act(alarm, "reset"));
  if (mayShelve(alarm) && !ASIDE.includes(alarm.state)) add("Shelve", () => shelve(alarm));
  return buttons;
}

// A long one is written smaller, so that it stays in one line where there is room for one. On a phone held upright there
// is none: the name stands alone, with how many more, and the first word of the state begins the line below.
function headline(name, state, more) {
  const long = name.length + state.length > 37 ? "yes" : "no";
  return make("strong", { data: { long } }, name, make("span", { className: "wide", textContent: ` – ${state}` }),
    more === 0 ? null : make("span", { className: "narrow", textContent: ` +${more}` }));
}

let rowKey = null;
let listKey = null;
let shown = null;

export function showAlarms(alarms, show) {
  const order = ranked(alarms);
  const standing = order.filter((alarm) => !ASIDE.includes(alarm.state));
  const first = standing[0] ?? null;
  const loudest = standing.filter(unseen);
  soundFor(loudest.length === 0 ? null : loudest.some((alarm) => alarm.level === "high") ? "high" : "low");
  const row = at("alarm-row");
  row.dataset.level = first?.level ?? "none";
  row.dataset.seen = first !== null && unseen(first) ? "no" : "yes";
  const aside = order.filter((alarm) => ASIDE.includes(alarm.state)).map((alarm) => `${fullName(alarm)} ${stateOf(alarm)}`);
  const asideText = aside.join(", ");
  const more = [standing.length > 1 ? `${standing.length - 1} more` : "", asideText].filter(Boolean).join(", ");
  // The message changes with the figures in it; the buttons must not be rebuilt under a finger.
  // What an interrupted run had left is not known yet.
  const none = readingBack() === null ? "no alarm" : "no alarm since the restart; earlier ones are being read back";
  const key = first === null ? `${none} ${asideText}` : `${fullName(first)} ${first.level} ${stateName(first)} ${more} ${soundIsOn()}`;
  if (key !== rowKey) {
    rowKey = key;
    say("alarm-shape", first === null ? (readingBack() === null ? "✓" : "…") : shapeOf(first.level));
    const strong = first === null ? null : headline(fullName(first), stateName(first), standing.length - 1);
    const muted = first !== null && unseen(first) && !soundIsOn() ? " Sound is off." : "";
    const text = first === null
      ? [asideText === "" ? none : `no other alarm; ${asideText}`]
      : [strong, make("br"), make("span", { id: "alarm-says" }, make("span", { className: "narrow", textContent: `${stateName(first).split(",")[0]}. ` }),
        make("span", { id: "alarm-since", className: "wide" }), make("span", { id: "alarm-message" }), `${more === "" ? "" : ` (${more})`}${muted}`)];
    row.dataset.whole = "no";
    at("alarm-text").replaceChildren(...text);
    at("alarm-buttons").replaceChildren(...(first === null ? [] : buttonsFor(first)));
  }
  if (first !== null) {
    // What became of it stands before what it said: on a phone, where one line is left, the state has told it.
    const [, since, said] = /^(.*? It said(?: then)?: )?(.*)$/s.exec(show.reworded(first.message));
    say("alarm-since", since ?? "");
    say("alarm-message", said);
  }
  shown = show;
  if (at("alarm-list").open) showList(order);
  return order;
}

function showList(order) {
  const key = JSON.stringify([order.map((alarm) => [alarm.kind, alarm.about, alarm.level, stateName(alarm), alarm.until_s]), preferences.clock, store.alarms.length, store.alarms.at(-1)?.at_s, shown.display]);
  if (key === listKey) return;
  listKey = key;
  at("alarm-items").replaceChildren(...(order.length === 0 ? [make("li", { textContent: "No alarm stands." })] : order.map((alarm) =>
    make("li", { data: { level: alarm.level } },
      make("strong", { textContent: `${shapeOf(alarm.level)} ${fullName(alarm)} – ${stateOf(alarm)}` }),
      make("p", { textContent: `${clockTime(alarm.raised_s)}  ${shown.reworded(alarm.message)}` }),
      make("div", { className: "buttons" }, ...buttonsFor(alarm))))));
  at("alarm-past-title").hidden = store.alarms.length === 0;
  at("alarm-past").replaceChildren(...store.alarms.slice().reverse().map((told) =>
    make("li", {}, make("time", { textContent: clockTime(told.at_s) }), `${fullName({ kind: told.alarm, about: told.about })}: ${STATES[told.state] ?? told.state}`)));
}

export function connectAlarms() {
  // Where the row is cut to two lines, a tap shows all that is said; another puts it back.
  at("alarm-text").onclick = () => {
    const row = at("alarm-row");
    row.dataset.whole = row.dataset.whole === "yes" ? "no" : "yes";
  };
  const list = at("alarm-list");
  at("show-alarms").onclick = () => {
    listKey = null;
    list.showModal();
    if (store.now !== null) showList(ranked(alarmsNow()));
  };
  at("alarm-close").onclick = () => list.close();
}

// The key `a`: whatever stands first.
export const acknowledgeFirst = () => at("alarm-buttons").querySelector('[aria-keyshortcuts="a"]')?.click();
