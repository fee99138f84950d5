// A curve against time for a chart, kept from one drawing to the next: what a drawing costs depends on what
// has come since the last one, not on how much is on the screen.
//
// Of each column of about a pixel the lowest and the highest stay, in the order they came: no peak is lost,
// however many points there are. Columns stand on whole multiples of their width, so that nothing shimmers
// while the window slides.
import { indexAt, store } from "/store.js";

export class Envelope {
  // `low`, `high`: names of columns of the store; `along`: one more, its newest value in each column.
  // `turn`: from newtons or metres to what is shown.
  constructor({ low, high, along = null, turn = (value) => value }) {
    this.names = { low, high, along };
    this.turn = turn;
    this.forget();
  }

  forget() {
    this.at = [];
    this.value = [];
    this.along = [];
    this.column = null;
    // Length without the column that is still growing.
    this.closed = 0;
    this.source = null;
    this.newest = -Infinity;
  }

  // Brings the curve up to date, from run time `from` on, in columns of `step` seconds; times come out as
  // `zero` + run time.
  update(from, step, zero = 0) {
    const points = store.points;
    // Another run, another history: other arrays, or older points than before.
    const same = this.source === points.at_s && this.step === step && this.zero === zero && from >= this.from;
    if (!same) {
      this.forget();
      [this.source, this.step, this.zero, this.from] = [points.at_s, step, zero, from];
    }
    const first = same ? indexAt(this.newest) : indexAt(from);
    for (let n = first; n < points.at_s.length; n += 1) {
      if (points.at_s[n] > this.newest) this.push(points, n);
    }
    this.show();
    const old = this.before(zero + from);
    if (old > 0) {
      for (const list of [this.at, this.value, this.along]) list.splice(0, old);
      this.closed -= old;
    }
    return this;
  }

  push(points, n) {
    const t = points.at_s[n];
    const mine = Math.floor(t / this.step);
    if (mine !== this.column) {
      this.show();
      this.closed = this.at.length;
      this.column = mine;
      [this.least, this.most, this.other] = [Infinity, -Infinity, null];
    }
    this.newest = t;
    const low = points[this.names.low][n];
    const high = points[this.names.high][n];
    if (low !== null && low < this.least) [this.least, this.leastAt] = [low, t];
    if (high !== null && high > this.most) [this.most, this.mostAt] = [high, t];
    const other = this.names.along === null ? null : points[this.names.along][n];
    if (other !== null) this.other = other;
  }

  // Writes the growing column behind the closed ones.
  show() {
    for (const list of [this.at, this.value, this.along]) list.length = this.closed;
    if (this.column === null) return;
    if (this.least > this.most) this.add(this.newest, null);
    else if (this.least === this.most) this.add(this.leastAt, this.least);
    else if (this.leastAt <= this.mostAt) { this.add(this.leastAt, this.least); this.add(this.mostAt, this.most); }
    else { this.add(this.mostAt, this.most); this.add(this.leastAt, this.least); }
  }

  add(t, value) {
    this.at.push(this.zero + t);
    this.value.push(value === null ? null : this.turn(value));
    this.along.push(this.other === null ? null : this.turn(this.other));
  }

  // How many of the closed ones lie before `t`.
  before(t) {
    let count = 0;
    while (count < this.closed && this.at[count] < t) count += 1;
    return count;
  }
}

// Width of a column, s: no wider than a pixel and no narrower than half of one, and the same for a while as
// the curve grows, so that it need not be made anew each time.
export function columnWidth(seconds, pixels) {
  const pixel = Math.max(seconds, 10) / Math.max(pixels, 50);
  return 2 ** Math.floor(Math.log2(pixel));
}
