// What this screen remembers: theme, units, clock, who marks, what was put away. Nothing else is kept.
import { at, forgetLooks, say } from "/dom.js";

const KEY = "kerfwatch";
let kept = {};
try { kept = JSON.parse(localStorage.getItem(KEY)) ?? {}; } catch { kept = {}; }

export const preferences = {
  theme: kept.theme ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "night" : "day"),
  units: kept.units ?? null,
  clock: kept.clock ?? "utc",
  author: kept.author ?? "",
  // The run whose first notes were put away.
  seen: kept.seen ?? null,
};

export function keep(name, value) {
  preferences[name] = value;
  // A browser that keeps nothing still works until it is closed.
  try { localStorage.setItem(KEY, JSON.stringify(preferences)); } catch { /* see above */ }
}

// Each button says what it changes to; `changed` redraws.
export function connectSwitches(changed, shownUnits) {
  const word = () => {
    document.documentElement.dataset.theme = preferences.theme;
    forgetLooks();
    say("switch-theme", preferences.theme === "day" ? "Night" : "Day");
    say("switch-units", shownUnits() === "metric" ? "Field" : "Metric");
    say("switch-clock", preferences.clock === "utc" ? "Local" : "UTC");
  };
  const flip = (id, name, now, one, other) => {
    at(id).onclick = () => { keep(name, now() === one ? other : one); word(); changed(); };
  };
  flip("switch-theme", "theme", () => preferences.theme, "day", "night");
  flip("switch-units", "units", shownUnits, "metric", "field");
  flip("switch-clock", "clock", () => preferences.clock, "utc", "local");
  word();
  return word;
}
