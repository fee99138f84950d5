// Conversions for display. Factors are exact by definition (foot, pound-force, inch).
const POUND_FORCE_N = 4.4482216152605;
const FOOT_M = 0.3048;
const INCH_MM = 25.4;

export function units(display) {
  const field = display === "field";
  const toForce = (newtons) => (field ? newtons / POUND_FORCE_N : newtons);
  const toLength = (metres) => (field ? metres / FOOT_M : metres);
  const force = field ? "lbf" : "N";
  const length = field ? "ft" : "m";
  const known = (value, write) => (value === null || value === undefined ? "unknown" : write(value));
  return {
    force,
    length,
    toForce,
    toLength,
    asForce: (newtons) => known(newtons, (n) => `${toForce(n).toFixed(0)} ${force}`),
    asLength: (metres) => known(metres, (m) => `${toLength(m).toFixed(field ? 1 : 2)} ${length}`),
    asWall: (mm) => known(mm, (d) => (field ? `${(d / INCH_MM).toFixed(3)} in` : `${d.toFixed(2)} mm`)),
  };
}
