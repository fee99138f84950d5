// Health of instruments, recorder, forwarder and disk: chips in the header, a table below.
import { at, make, say } from "/dom.js";
import { lasting } from "/time.js";

// Record this far behind the present, in wall seconds, is a disk in trouble.
const BEHIND_S = 5;
const SHAPES = { ok: "✓", low: "◆", high: "▲", unknown: "?" };

const FAULTS = { closed: "port closed", stale: "silent", frames: "garbled", range: "out of range", frozen: "frozen", leaps: "drops out", leapt: "counter leapt" };

const channelOf = (now, name) => now.channels.find((one) => one.name === name);

// Why a figure is old: by what is wrong with its instrument. A frozen one sends, and must not be looked for in the cable.
export function oldWord(now, name) {
  const channel = channelOf(now, name);
  if (channel === undefined || channel.age_s === null) return `no ${name} reading yet`;
  return `OLD: ${name} ${FAULTS[channel.fault] ?? "silent"} for ${lasting(channel.age_s)}`;
}

// More or less line than any winch could have paid out: the counter goes on from a depth that is not the tool's.
export const counterLeapt = (now) => channelOf(now, "depth")?.fault === "leapt";

const bytes = (n) => {
  const units = ["B", "KiB", "MiB", "GiB", "TiB"];
  let value = n;
  let unit = 0;
  while (value >= 1024 && unit < units.length - 1) { value /= 1024; unit += 1; }
  return `${value.toFixed(unit < 2 ? 0 : 1)} ${units[unit]}`;
};

// What happened to a channel and its frames: only what happened at all.
function troubles(channel) {
  const kinds = Object.entries(channel.bad_kinds).map(([kind, n]) => `${n} ${kind.replaceAll("_", " ")}`).join(", ");
  const counts = [
    [channel.bad_frames, "bad frame", "bad frames", kinds === "" ? "" : ` (${kinds})`],
    [channel.partial_frames, "half frame", "half frames"], [channel.gaps, "gap", "gaps"], [channel.out_of_range, "out of range"],
    [channel.frozen, "frozen"], [channel.spikes, "spike", "spikes"], [channel.duplicates, "duplicate", "duplicates"],
    [channel.reordered, "out of order"], [channel.missing, "missing"], [channel.port_losses, "port loss", "port losses"],
  ].filter(([n]) => n > 0).map(([n, one, many = one, more = ""]) => `${n} ${n === 1 ? one : many}${more}`);
  return counts.length === 0 ? "nothing wrong with them" : counts.join(", ");
}

function channelPart(channel, oldAfterS) {
  const silent = channel.age_s === null || channel.age_s > oldAfterS;
  const level = silent || channel.fault === "stale" ? "high" : channel.fault !== "" ? "low" : "ok";
  // A port that is closed, or brings garbage, is silent too: the cause is the better word.
  const word = channel.fault === "" && silent ? "silent" : FAULTS[channel.fault] ?? channel.fault;
  const state = channel.age_s === null ? "nothing yet" : silent ? `${word}, no reading for ${lasting(channel.age_s)}` : word === "" ? "good" : word;
  return {
    name: channel.name,
    level,
    state,
    chip: level === "ok" ? `${channel.rate_hz.toFixed(0)}/s` : word,
    figures: `${channel.rate_hz.toFixed(1)} readings/s, newest ${channel.age_s === null ? "–" : `${channel.age_s.toFixed(1)} s`} old, ${channel.readings} readings: ${troubles(channel)}`,
  };
}

function recorderPart(health, speed) {
  const behind = Math.max(0, (health.core_s - health.recorded_s) / Math.max(speed, 1));
  // Of the present: what was lost earlier stays among the figures. A disk that takes nothing loses nothing yet.
  const broken = !health.ok;
  const level = broken ? "high" : behind > BEHIND_S ? "low" : "ok";
  const waits = `NOT WRITTEN, ${behind.toFixed(0)} s held in memory`;
  const state = broken ? (health.record_losing ? "LOSING DATA" : waits) : level === "low" ? `${behind.toFixed(0)} s behind` : "recording";
  return {
    name: "recorder", level, state, chip: level === "ok" ? "" : state,
    figures: `${bytes(health.recorded_bytes)} kept, ${health.record_errors} write errors, ${health.record_lost} not kept, longest sync ${health.sync_ms_max.toFixed(0)} ms`,
  };
}

function diskPart(health) {
  const free = health.disk_free_bytes ?? null;
  const level = free === null ? "ok" : free < 200e6 ? "high" : free < 2e9 ? "low" : "ok";
  return { name: "disk", level, state: free === null ? "not known" : level === "ok" ? "room enough" : "nearly full", chip: level === "ok" ? null : bytes(free) + " free", figures: free === null ? "" : `${bytes(free)} free` };
}

function forwardPart(health) {
  const forward = health.forward ?? null;
  if (forward === null) return { name: "forwarder", level: "ok", state: "not set up", chip: null, figures: "" };
  const behind = forward.backlog_bytes ?? forward.backlog ?? 0;
  const level = forward.ok === false ? "low" : "ok";
  return { name: "forwarder", level, state: level === "ok" ? "forwarding" : "behind", chip: level === "ok" ? null : "behind", figures: Object.entries(forward).map(([key, value]) => `${key.replaceAll("_", " ")} ${value}`).join(", ") || bytes(behind) };
}

// `gone`: the word for all of it when nothing is heard any more; what was well then is not told as if it still were.
export function showHealth(now, health, job, oldAfterS, gone) {
  const parts = now === null ? [] : now.channels.map((channel) => channelPart(channel, oldAfterS));
  if (health !== null) parts.push(recorderPart(health, job.speed), diskPart(health), forwardPart(health));
  const asHeard = (part) => (gone === null ? part : { ...part, level: "unknown", state: gone, chip: part.chip === null ? null : "", figures: part.figures && `last: ${part.figures}` });
  const chips = parts.map(asHeard).filter((part) => part.chip !== null);
  const chipKey = JSON.stringify(chips.map((part) => [part.name, part.level, part.chip]));
  if (at("chips").dataset.key !== chipKey) {
    at("chips").dataset.key = chipKey;
    at("chips").replaceChildren(...chips.map((part) =>
      make("li", { data: { level: part.level } }, `${SHAPES[part.level]} ${part.name}${part.chip === "" ? "" : ` ${part.chip}`}`)));
  }
  if (now !== null) {
    const q = now.quality;
    const wear = now.life_used === null ? "" : `, ${(now.life_used * 100).toFixed(0)} % of its bending life`;
    parts.push({ name: "data", level: "ok", state: "counted", figures: `${q.gaps} gaps, ${q.late} late, ${q.out_of_range} out of range, ${q.spikes} spikes` });
    parts.push({ name: "line", level: "ok", state: "bends counted", figures: `most bent section: ${now.bends_max} bends${wear}` });
  }
  if (health !== null) parts.push({ name: "page", level: "ok", state: `${health.streams} open`, figures: `${health.streams_dropped} dropped as too slow, ${health.clock_steps} steps of the clock, ${health.standstills} standstills, ports opened ${health.ports_opened}, lost ${health.ports_lost}` });
  at("health").replaceChildren(...parts.map(asHeard).map((part) =>
    make("tr", { data: { level: part.level } },
      make("td", { textContent: part.name }), make("td", { textContent: `${SHAPES[part.level]}\u00a0${part.state}` }), make("td", { textContent: part.figures }))));
  say("version", job.version);
}
