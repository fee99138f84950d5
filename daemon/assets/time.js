// Run time as clock time, UTC or local, and durations in words.

const two = (n) => String(n).padStart(2, "0");

export function clockOf(startedUtc, atS) {
  return new Date(Date.parse(startedUtc) + atS * 1000);
}

export function hms(date, utc, seconds = true) {
  const parts = utc
    ? [date.getUTCHours(), date.getUTCMinutes(), date.getUTCSeconds()]
    : [date.getHours(), date.getMinutes(), date.getSeconds()];
  return (seconds ? parts : parts.slice(0, 2)).map(two).join(":");
}

export function lasting(seconds) {
  if (seconds === null || seconds === undefined) return "–";
  if (seconds < 60) return `${seconds.toFixed(0)} s`;
  if (seconds < 3600) return `${Math.floor(seconds / 60)} min ${two(Math.floor(seconds % 60))} s`;
  return `${Math.floor(seconds / 3600)} h ${two(Math.floor((seconds % 3600) / 60))} min`;
}

// Hours and minutes, of what nobody knows to the second.
export function hoursMinutes(seconds) {
  const minutes = Math.ceil(seconds / 60);
  return `${Math.floor(minutes / 60)}:${two(minutes % 60)}`;
}
