// What the page makes of alarms, doubtful depths, notes of the daemon and many joints, told to it and not waited for.
import assert from "node:assert/strict";

const alarm = (kind, state, more = {}) => ({ kind, state, about: "", level: "high", raised_s: 1, until_s: null, is_past: false, message: `${kind}.`, ...more });

// Draws no more by itself, so that what is told to it stays for a look.
const freeze = (page) => page.evaluate(() => new Promise((done) => {
  const next = window.requestAnimationFrame.bind(window);
  window.requestAnimationFrame = () => 0;
  next(() => next(done));
}));

async function worstFirst({ look, demo }) {
  const one = await look(demo);
  const order = (alarms) => one.evaluate(async (list) => {
    const { ranked } = await import("/alarms.js");
    return ranked(list).map((alarm) => `${alarm.kind}${alarm.about} ${alarm.state}`);
  }, alarms);
  const [past, cell] = [{ is_past: true }, { about: "load" }];
  // An overpull that is held until it is acknowledged, behind a load cell that is back.
  assert.deepEqual((await order([
    alarm("sensor", "unacknowledged", { ...cell, ...past }), alarm("speed", "unacknowledged"), alarm("stall", "returned_unacknowledged"),
    alarm("approaching", "unacknowledged", past), alarm("overpull", "latched_unacknowledged"),
  ])).map((words) => words.split(" ")[0]), ["approaching", "overpull", "stall", "sensorload", "speed"]);
  // Of one kind what lasts first; what is acknowledged after all that is not, but for the limit itself; what is put aside last.
  assert.deepEqual(await order([
    alarm("overpull", "shelved", { level: "low" }), alarm("overpull", "latched_acknowledged"), alarm("stall", "unacknowledged", past), alarm("slack", "unacknowledged"),
    alarm("sensor", "unacknowledged", { about: "depth" }),
  ]), ["slack unacknowledged", "stall unacknowledged", "sensordepth unacknowledged", "overpull latched_acknowledged", "overpull shelved"]);
  assert.deepEqual(await order([alarm("sensor", "unacknowledged", cell), alarm("overpull", "acknowledged")]),
    ["overpull acknowledged", "sensorload unacknowledged"]);
  await one.context().close();
}

async function phone({ look, demo, picture }) {
  const one = await look(demo, { width: 390, height: 844 });
  const message = "It is over; it came twice within a minute and stays here until it has not come for one. It said then: The line moves but the tool does not, line tension 3210 N: stop, slack off, then try again.";
  await one.waitForFunction(() => document.getElementById("wheels").textContent.includes(" m"));
  await freeze(one);
  await one.evaluate(async (alarms) => {
    const { showAlarms } = await import("/alarms.js");
    const { units } = await import("/units.js");
    showAlarms(alarms, units("metric"));
  }, [alarm("sensor", "latched_unacknowledged", { about: "depth", message }), alarm("speed", "acknowledged")]);
  const seen = () => one.evaluate(() => ({
    depth: document.getElementById("wheels").getBoundingClientRect().bottom,
    text: document.getElementById("alarm-text").getBoundingClientRect().height,
    cut: [...document.querySelectorAll("#alarm-text strong")].some((node) => node.scrollWidth > node.clientWidth),
    lines: document.getElementById("alarm-says").getClientRects().length,
  }));
  const short = await seen();
  assert.ok(short.depth <= 844, `depth of the tool ends at ${short.depth}`);
  assert.ok(short.text < 60 && !short.cut, JSON.stringify(short));
  assert.match(await one.innerText("#alarm-text"), /^DEPTH COUNTER \+1\n+over\. The line moves but the tool/);
  await picture(one, "phone-alarm");
  await one.click("#alarm-text");
  assert.ok((await seen()).text > 2 * short.text, "a tap shows all of it");
  assert.match(await one.innerText("#alarm-text"), /held until acknowledged and reset[^]*it came twice/);
  await picture(one, "phone-alarm-whole");
  await one.context().close();
}

async function doubtful({ look, demo }) {
  const one = await look(demo);
  await one.waitForFunction(async () => (await import("/store.js")).store.now !== null);
  const told = (which, fault, ages = [0, 0]) => one.evaluate(async ([name, word, [load, depth]]) => {
    const { store } = await import("/store.js");
    const { showTool } = await import("/tool.js");
    const { showTension } = await import("/tension.js");
    const { units } = await import("/units.js");
    const age = { load, depth };
    const channels = store.now.channels.map((one) => ({ ...one, age_s: age[one.name], fault: one.name === name ? word : "" }));
    const now = { ...store.now, channels, strokes: 43, strokes_out: 33 };
    showTension(now, units("metric"), load, 1.4);
    showTool(now, units("metric"), depth, load, 1.4);
    const words = (id) => (document.getElementById(id).hidden ? "" : document.getElementById(id).textContent);
    const grey = ["expected", "state", "wheels", "tool-speed", "line-out", "drag", "strokes"].filter((id) => document.getElementById(id).classList.contains("is-dim"));
    return { tension: words("tension-old"), tool: words("depth-old"), grey: grey.join(" "), strokes: words("strokes") + words("strokes-all") };
  }, [which, fault, ages]);
  const well = { tension: "", tool: "", grey: "", strokes: "33 of 43" };
  assert.deepEqual(await told("load", ""), well);
  assert.deepEqual(await told("depth", "leapt"), { ...well, tool: "WRONG: counter leapt, set it", grey: "expected state wheels line-out drag" });
  for (const [fault, word] of [["frozen", "frozen"], ["frames", "garbled"], ["range", "out of range"], ["closed", "port closed"], ["stale", "silent"], ["", "silent"]]) {
    const old = `OLD: load ${word} for 5 s`;
    assert.deepEqual(await told("load", fault, [5, 0]), { ...well, tension: old, tool: old, grey: "state wheels tool-speed drag" });
  }
  assert.equal((await told("depth", "frozen", [0, 7])).tool, "OLD: depth frozen for 7 s");
  await one.context().close();
}

async function highest({ look, demo }) {
  const one = await look(demo);
  await one.waitForFunction(async () => (await import("/store.js")).store.now !== null);
  const told = (tension_n) => one.evaluate(async (n) => {
    const { store } = await import("/store.js");
    const { showTension } = await import("/tension.js");
    const { units } = await import("/units.js");
    const highest = n === null ? null : { at_s: 0, tension_n: n, depth_m: 2000, limit_n: 5000 };
    showTension({ ...store.now, highest }, units("metric"), 0, 2);
    const place = document.getElementById("highest");
    return place.hidden ? "" : `${place.dataset.level}|${place.textContent.replace(/\d\d:\d\d/, "h:m")}`;
  }, tension_n);
  assert.equal(await told(null), "");
  assert.equal(await told(4999), "none|highest 5000 N at h:m, 99 % of limit");
  assert.equal(await told(5000), "high|▲ highest 5000 N at h:m, 100 % of limit");
  assert.equal(await told(9123), "high|▲ highest 9120 N at h:m, 182 % of limit");
  await one.context().close();
}

async function notice({ look, demo, picture }) {
  const note = "the job file differs from that of unfinished run 20261128T125020Z-ac77 in alarm.overpull 2000 N (there: 2500 N): this is a new run, strokes and groove start at nothing, only open alarms are taken over; to go on with that run, stop this one, put back the values in brackets and start with --resume runs/20261128T125020Z-ac77";
  for (const [width, height] of [[1280, 800], [1920, 1080], [390, 844]]) {
    const one = await look(demo, { width, height });
    await one.waitForFunction(() => document.querySelectorAll("#joints tr").length > 0);
    await freeze(one);
    const told = (watched_s) => one.evaluate(async ([text, watched]) => {
      const { store } = await import("/store.js");
      const { showMarks, showNotice } = await import("/marks.js");
      const { units } = await import("/units.js");
      const by = { author: "kerfwatchd", at_s: 0.4 };
      store.marks = [{ mark: "note", text, ...by }, { mark: "alarms_before", text: "those nobody had dealt with", ...by }, { mark: "note", text: "hung up", author: "winch", at_s: 1 }, { mark: "note", text: "later", author: "kerfwatchd", at_s: 900 }];
      showMarks(units("metric"));
      showNotice({ ...store.now, watched_s: watched }, units("metric"));
      return document.getElementById("notice").hidden ? "" : document.getElementById("notice-text").textContent;
    }, [note, watched_s]);
    assert.equal(await told(1799), `T${note.slice(1)}.`);
    assert.match(await one.textContent("#marks"), /Alarms taken over: those nobody/);
    await picture(one, `notice-${width}`);
    const seen = await one.evaluate(() => {
      const bar = document.getElementById("actions");
      const end = getComputedStyle(bar).position === "sticky" ? bar.getBoundingClientRect().top : Infinity;
      const box = document.getElementById("notice").getBoundingClientRect();
      return { hidden: ["to-limit", "wheels", "strokes", "pipe-legend"].filter((id) => document.getElementById(id).getBoundingClientRect().bottom > end), isFirst: box.bottom < innerHeight && box.bottom <= document.querySelector("main").getBoundingClientRect().top + 1 };
    });
    assert.deepEqual(seen, { hidden: [], isFirst: true }, `${width}x${height}`);
    assert.equal(await told(1801), "");
    assert.notEqual(await told(5), "");
    await one.click("#notice-close");
    assert.equal(await told(6), "");
    await one.context().close();
  }
}

async function noScrollInScroll({ look, demo, picture }) {
  for (const [width, height] of [[1280, 800], [1920, 1080]]) {
    const one = await look(demo, { width, height });
    await one.waitForFunction(() => document.querySelectorAll("#joints tr").length > 0);
    await one.waitForTimeout(500);
    const wrong = () => one.evaluate(() => {
      const scrolls = (node) => ["auto", "scroll"].includes(getComputedStyle(node).overflowY) && node.scrollHeight > node.clientHeight;
      const cards = [...document.querySelectorAll("main section")];
      const inside = [...document.querySelectorAll("main *")].filter(scrolls).map((node) => node.id || node.className);
      const cut = cards.filter((card) => card.scrollHeight > card.clientHeight + 1 || card.scrollWidth > card.clientWidth + 1).map((card) => card.id);
      const last = document.getElementById("column-time").getBoundingClientRect().bottom;
      const below = last > document.getElementById("actions").getBoundingClientRect().top && getComputedStyle(document.getElementById("actions")).position !== "sticky";
      return { inside, cut, below, overlap: last > document.querySelector("main").getBoundingClientRect().bottom };
    });
    const none = { inside: [], cut: [], below: false, overlap: false };
    assert.deepEqual(await wrong(), none, `${width}x${height}, the demonstration`);
    await freeze(one);
    await one.evaluate(async () => {
      const { showJoints } = await import("/joints.js");
      const { units } = await import("/units.js");
      const bin = (top_m) => ({ top_m, bottom_m: top_m + 9, depth_mm: 1, low_mm: 0, high_mm: 2, wall_mm: 6.88, passes: 1284, through: false, coupling: false });
      const tops = [2173, 2182, 2191, 2200, 2209];
      const joint = (top_m) => ({ top_m, bottom_m: top_m + 9, min_depth_mm: 1, strokes_left_p50: 3495, strokes_left_p90: 6849 });
      showJoints({ groove: tops.map(bin), joints: tops.map(joint), outlook: tops.map(() => ({ stroke_s: 88, ten_deepen_mm: 0.66, ten_split: 1 })) }, units("metric"));
    });
    assert.equal(await one.textContent("#outlook"), `Ten more strokes in place deepen ${[1, 2, 3, 4, 5].map((n) => `joint ${n} by 0.66 mm, opening about 9.0 m`).join("; ")}.`);
    assert.deepEqual(await wrong(), none, `${width}x${height}, five joints`);
    // The table itself is on the first screen.
    const [row, bar] = await one.evaluate(() => [document.querySelector("#joints tr:last-child"), document.getElementById("actions")].map((node) => node.getBoundingClientRect()));
    assert.ok(row.bottom <= bar.top, `${width}x${height}: the table ends at ${row.bottom}, the bar begins at ${bar.top}`);
    await picture(one, `five-joints-${width}`);
    await one.context().close();
  }
}

export async function shown(tools) {
  const { step } = tools;
  await step("of alarms nobody has dealt with the worst stands first", () => worstFirst(tools));
  await step("on a phone an alarm takes two lines and leaves the depth of the tool on the screen", () => phone(tools));
  await step("a figure in doubt is grey and says why, strokes are those with the cutter out", () => doubtful(tools));
  await step("the highest tension of the run stays, in colour from the limit on", () => highest(tools));
  await step("what the daemon notes at the start stands above the cards until it is put away", () => notice(tools));
  await step("no card scrolls within the page, with five joints neither", () => noScrollInScroll(tools));
}
