// The live stream: follows it, notices when it falls silent, comes back and fills the gap.
import { store } from "/store.js";

// Said well within two seconds, whenever the look falls.
const SILENT_MS = 1400;
const RETRY_MS = 1000;
// A connection that opens and says nothing is as good as none.
const GIVE_UP_MS = 6000;

export const connection = { heardAt: performance.now(), moved: performance.now(), everHeard: false, refused: false, ended: false };

let stream = null;
let newest = null;
let openedAt = 0;

// `take`: a function for each event name.
export function follow(take) {
  openedAt = performance.now();
  const since = store.points.at_s.at(-1);
  const same = store.job === null || since === undefined ? "" : `?since=${since}`;
  const mine = new EventSource("/api/v1/stream" + same);
  stream = mine;
  for (const [name, use] of Object.entries(take)) {
    mine.addEventListener(name, (event) => {
      connection.heardAt = performance.now();
      connection.everHeard = true;
      connection.refused = false;
      const data = JSON.parse(event.data);
      // Another run has other times: what was missed of it is everything.
      if (name === "hello" && same !== "" && data.run_id !== store.job.run_id) {
        use(data);
        again(take, 0);
        return;
      }
      if (name === "now") {
        // Time goes on while instruments are silent, and before they have ever spoken: a daemon that stands still keeps it.
        if (data.watched_s !== newest) connection.moved = performance.now();
        newest = data.watched_s;
      }
      use(data);
    });
  }
  // The browser would retry by itself, but with the address of the first time: a fresh stream asks
  // for exactly what is missing.
  mine.onerror = () => { if (mine === stream) again(take, RETRY_MS); };
}

let waiting = 0;
function again(take, delay) {
  stream?.close();
  stream = null;
  clearTimeout(waiting);
  waiting = setTimeout(async () => {
    try {
      const answer = await fetch("/api/v1/job", { signal: AbortSignal.timeout(2000) });
      connection.refused = answer.status === 401;
    } catch { /* the daemon does not answer: the stream will say so too */ }
    follow(take);
  }, delay);
}

// Seconds without a word, or without time passing in what is said; `null` while all is well.
export function silentFor() {
  const quiet = performance.now() - Math.min(connection.heardAt, connection.moved);
  return quiet > SILENT_MS ? quiet / 1000 : null;
}

export function watch(take) {
  setInterval(() => {
    const waited = performance.now() - Math.max(connection.heardAt, openedAt);
    if (stream !== null && waited > GIVE_UP_MS) again(take, 0);
  }, 1000);
}
