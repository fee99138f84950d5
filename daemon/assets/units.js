// Conversions for display. Factors are exact by definition (foot, pound-force, inch).
const POUND_FORCE_N = 4.4482216152605;
const FOOT_M = 0.3048;
const INCH_MM = 25.4;
const QUANTITY = /(-?\d+(?:\.\d+)?) (N|lbf|m\/s|ft\/min|m|ft)(?![\w/])/g;

export function units(display) {
  const field = display === "field";
  const known = (value, write) => (value === null || value === undefined ? "–" : write(value));
  const toForce = (newtons) => (field ? newtons / POUND_FORCE_N : newtons);
  const toLength = (metres) => (field ? metres / FOOT_M : metres);
  const fromLength = (shown) => (field ? shown * FOOT_M : shown);
  const toWall = (mm) => (field ? mm / INCH_MM : mm);
  const force = field ? "lbf" : "N";
  const length = field ? "ft" : "m";
  // The last digit is below what a load cell resolves; more would only flicker.
  const step = field ? 1 : 10;
  const roundForce = (newtons) => String(Math.round(toForce(newtons) / step) * step);
  return {
    display,
    force,
    length,
    toForce,
    toLength,
    fromLength,
    toWall,
    wall: field ? "in" : "mm",
    forceNumber: (newtons) => known(newtons, roundForce),
    asForce: (newtons) => known(newtons, (n) => `${roundForce(n)} ${force}`),
    asDrag: (newtons) => known(newtons, (n) => `${toForce(n).toFixed(0)} ${force}`),
    lengthNumber: (metres, digits = field ? 1 : 2) => known(metres, (m) => toLength(m).toFixed(digits)),
    asLength: (metres, digits = field ? 1 : 2) => known(metres, (m) => `${toLength(m).toFixed(digits)} ${length}`),
    wallNumber: (mm) => toWall(mm).toFixed(field ? 3 : 1),
    // Growth over a few strokes: hundredths of a millimetre.
    asFineWall: (mm) => known(mm, (d) => (field ? `${toWall(d).toFixed(4)} in` : `${d.toFixed(2)} mm`)),
    asWall: (mm) => known(mm, (d) => (field ? `${toWall(d).toFixed(3)} in` : `${d.toFixed(1)} mm`)),
    // A sentence of the daemon, written in the units of the job, in those of this screen.
    reworded: (text) => text.replace(QUANTITY, (whole, number, unit) => {
      const n = Number(number);
      if ((unit === "N" || unit === "lbf")) return field === (unit === "lbf") ? whole : field ? `${toForce(n).toFixed(0)} lbf` : `${(n * POUND_FORCE_N).toFixed(0)} N`;
      if (unit === "m" || unit === "ft") return field === (unit === "ft") ? whole : field ? `${toLength(n).toFixed(1)} ft` : `${(n * FOOT_M).toFixed(2)} m`;
      return field === (unit === "ft/min") ? whole : field ? `${(n / FOOT_M * 60).toFixed(0)} ft/min` : `${(n * FOOT_M / 60).toFixed(2)} m/s`;
    }),
    // Tool work is done in metres per second or feet per minute.
    asSpeed: (v) => known(v, (s) => (field ? `${Math.abs(s / FOOT_M * 60).toFixed(0)} ft/min` : `${Math.abs(s).toFixed(2)} m/s`)),
  };
}
