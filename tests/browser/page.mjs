// What a crew does with the page, done in a real browser. See tests/tests/browser.rs.
import assert from "node:assert/strict";
import { createRequire } from "node:module";
import fs from "node:fs";
import net from "node:net";
import path from "node:path";
import readline from "node:readline";
import { chromium } from "playwright-core";
import { shown } from "./shown.mjs";

const [live, demo, token, pictures] = process.argv.slice(2);
const axe = fs.readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

const answers = readline.createInterface({ input: process.stdin })[Symbol.asyncIterator]();
async function well(wish) {
  process.stdout.write(`!${wish}\n`);
  assert.equal((await answers.next()).value, `done ${wish}`);
}

// Between browser and daemon, so that the network can fail without the daemon noticing more than
// a closed connection.
const far = new URL(live);
const open = new Set();
let cut = false;
const relay = net.createServer((near) => {
  if (cut) { near.destroy(); return; }
  const other = net.connect(Number(far.port), far.hostname);
  for (const [one, two] of [[near, other], [other, near]]) {
    open.add(one);
    one.pipe(two);
    one.on("error", () => {});
    one.on("close", () => { two.destroy(); open.delete(one); });
  }
});
await new Promise((done) => { relay.listen(0, "127.0.0.1", done); });
const relayed = `http://127.0.0.1:${relay.address().port}/`;

const args = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];
const browser = await chromium.launch({ executablePath: "/usr/bin/chromium", args });
const troubles = [];

async function look(url, { width = 1280, height = 800, night = false, bypassCSP = false } = {}) {
  const context = await browser.newContext({ viewport: { width, height }, colorScheme: night ? "dark" : "light", bypassCSP });
  const page = await context.newPage();
  page.setDefaultTimeout(12_000);
  page.on("pageerror", (error) => troubles.push(`script: ${error.message}`));
  page.on("console", (message) => {
    // A cut connection and a refusal are logged by the browser itself.
    if (message.type() === "error" && !/ERR_|40[139]|50[23]/.test(message.text())) troubles.push(`console: ${message.text()}`);
  });
  page.on("request", (request) => {
    if (new URL(request.url()).host !== new URL(url).host) troubles.push(`outside request: ${request.url()}`);
  });
  await page.goto(url);
  await page.waitForSelector('#link[data-level="ok"] >> text=✓');
  return page;
}

const picture = (page, name, whole = false) => page.screenshot({ path: path.join(pictures, `${name}.png`), fullPage: whole });

async function step(name, run) {
  const begun = performance.now();
  await run();
  console.log(`ok ${((performance.now() - begun) / 1000).toFixed(1)} s  ${name}`);
}

// Waits until `test`, which may be asynchronous, holds in the page; returns how long it took, s.
async function until(page, test, argument = null) {
  const begun = performance.now();
  while (!await page.evaluate(test, argument)) {
    assert.ok(performance.now() - begun < 20_000, `never: ${test}`);
    await page.waitForTimeout(50);
  }
  return (performance.now() - begun) / 1000;
}

const row = (page) => page.locator("#alarm-row").evaluate((node) => ({ ...node.dataset, text: node.textContent }));

async function accessible(url, options, before = async () => {}) {
  const page = await look(url, { ...options, bypassCSP: true });
  await before(page);
  await page.waitForTimeout(500);
  await page.evaluate(axe);
  const { violations } = await page.evaluate(() => globalThis.axe.run());
  const serious = violations.filter((one) => ["serious", "critical"].includes(one.impact));
  const told = serious.map((one) => `${one.id}: ${one.help}: ${one.nodes.slice(0, 4).map((node) => `${node.target} ${node.any[0]?.message ?? ""}`).join(" | ")}`);
  assert.deepEqual(told, []);
  const lesser = violations.length - serious.length;
  if (lesser > 0) console.log(`   lesser findings: ${violations.map((one) => `${one.id} (${one.impact})`).join(", ")}`);
  await page.context().close();
}

try {
  const page = await look(relayed);

  await step("figures arrive", async () => {
    await until(page, () => Number(document.getElementById("tension-value").textContent) > 1000);
    await until(page, () => /CUTTING|FREE|STILL/.test(document.getElementById("state").textContent));
    assert.match(await page.textContent("#chips"), /✓ load .*✓ depth .*✓ recorder/);
  });

  await step("an overpull is on the screen, is acknowledged after signing in, and lasts until it is reset", async () => {
    await well("overpull");
    await until(page, () => document.getElementById("to-limit-shape").textContent.includes("△") || document.getElementById("to-limit").dataset.level !== "none");
    await until(page, () => document.getElementById("alarm-row").textContent.includes("OVERPULL"));
    await page.waitForTimeout(700);
    assert.equal((await row(page)).level, "high");
    assert.match((await row(page)).text, /Sound is off/);
    await page.click("#switch-sound");
    await until(page, () => document.getElementById("switch-sound").textContent === "Sound: on");
    await picture(page, "overpull");
    await page.keyboard.press("a");
    await page.fill("#token", "wrong wrong wrong wrong");
    await page.keyboard.press("Enter");
    await until(page, () => document.getElementById("said").textContent.includes("wrong token"));
    await page.click("#alarm-buttons >> text=Acknowledge");
    await page.fill("#token", token);
    await page.keyboard.press("Enter");
    // One kind is acknowledged at a time: what came with it is next.
    for (let n = 0; n < 6; n += 1) {
      await page.waitForTimeout(400);
      if ((await row(page)).seen === "yes") break;
      await page.keyboard.press("a");
    }
    assert.equal((await row(page)).seen, "yes");
    await picture(page, "overpull-acknowledged");
    await page.keyboard.press("l");
    await page.waitForSelector("#alarm-items li:has-text('reached the limit')");
    assert.equal(await page.locator("#alarm-items li:has-text('OVERPULL') >> text=Shelve").count(), 0);
    await picture(page, "alarm-list");
    assert.ok(await page.locator("#alarm-past li").count() > 0);
    // Whoever opens the page later finds them as well.
    const later = await look(live);
    await later.keyboard.press("l");
    await later.waitForSelector("#alarm-past li:has-text('OVERPULL')");
    await later.context().close();
    assert.equal(await page.evaluate(async () => (await fetch("/api/v1/alarms/overpull/shelve", {
      method: "POST", headers: { "content-type": "application/json" }, body: '{"seconds":60}',
    })).status), 409);
    await page.keyboard.press("Escape");
    await well("stroke");
    await until(page, async () => (await import("/store.js")).store.now.alarms.some((alarm) => alarm.kind === "overpull" && alarm.state === "latched_acknowledged"));
    // Whatever else came with it stands in the same row, one after the other; a button may be drawn a moment after
    // its alarm is known.
    const stands = async () => (await import("/store.js")).store.now.alarms.some((alarm) => alarm.kind === "overpull");
    const button = page.locator("#alarm-buttons >> text=/Acknowledge|Reset/").first();
    for (let n = 0; n < 40 && (await page.evaluate(stands) || await button.count() > 0); n += 1) {
      if (await button.count() > 0) await button.click({ timeout: 2000 }).catch(() => {});
      await page.waitForTimeout(400);
    }
    assert.equal(await page.evaluate(stands), false);
    // How high it went is still told.
    assert.match(await page.textContent("#highest"), /^▲ highest \d+ N at \d\d:\d\d, 1\d\d % of limit$/);
    await picture(page, "overpull-dealt-with");
    await page.click("#switch-sound");
  });

  await step("marks carry their author, a new zero asks twice", async () => {
    await page.keyboard.press("n");
    await page.fill("#note", "tool hung up for a moment");
    await page.click("dialog >> text=Mark now");
    await page.waitForSelector("dialog .problem >> text=Who marks this");
    await page.fill("#author", "winch");
    await page.click("dialog >> text=Mark now");
    await page.waitForSelector("#marks >> text=Note: tool hung up for a moment – winch");
    await page.click("[data-mark=cutter_out]");
    assert.equal(await page.inputValue("#author"), "winch");
    await page.click("dialog >> text=Mark now");
    await page.waitForSelector("#marks >> text=Cutter out – winch");
    await until(page, () => document.getElementById("cutter").textContent === "OUT");
    await page.click("[data-mark=zero]");
    await page.fill("#metres", "2000");
    await page.click("dialog >> text=Next");
    await page.waitForSelector("#confirm >> text=becomes 2000.00 m");
    await picture(page, "new-zero");
    await page.click("#confirm >> text=Cancel");
    assert.equal(await page.locator("#marks >> text=New zero").count(), 0);
    await page.click("[data-mark=reference_depth]");
    await page.fill("#metres", "x");
    await page.click("dialog >> text=Mark now");
    await page.waitForSelector("dialog .problem >> text=A number is needed");
    await page.keyboard.press("Escape");
    assert.equal(await page.locator("dialog[open]").count(), 0);
    // A stroke or two with the wheels out, then in again: looked for in the record afterwards. One takes eight seconds and
    // the turn; in less than that none may have its middle.
    await page.waitForTimeout(10000);
    await page.click("[data-mark=cutter_in]");
    await page.click("dialog >> text=Mark now");
    await page.waitForSelector("#marks >> text=Cutter in – winch");
    await until(page, () => document.getElementById("cutter").textContent === "IN");
  });

  await step("the weight check is guided and its readings are kept", async () => {
    await page.click("[data-mark=weight_check]");
    await page.click("dialog >> text=Start");
    for (const [wish, name] of [["hold", "hold"], ["up", "pick up"], ["down", "slack off"]]) {
      await well(wish);
      await page.waitForTimeout(1800);
      if (wish === "down") await picture(page, "weight-check");
      await page.click(`#weight button:has-text("${name}: read")`);
    }
    await page.waitForSelector("#weight-live >> text=between up and down");
    await page.click("#weight >> text=Keep readings");
    await page.waitForSelector("#marks >> text=weight check: hold");
    assert.match(await page.textContent("#marks"), /hold 1[56]\d0 N, pick up (18|19)\d0 N, slack off 1[23]\d0 N/);
    await well("stroke");
  });

  await step("a silent load cell greys its figures within two seconds, and only them", async () => {
    await well("silence");
    const took = await until(page, () => document.getElementById("tension").classList.contains("is-old"));
    console.log(`   seen after ${took.toFixed(2)} s`);
    assert.ok(took < 2, `took ${took} s`);
    assert.match(await page.textContent("#tension-old"), /OLD: load silent/);
    assert.equal(await page.evaluate(() => document.getElementById("tool").classList.contains("is-old")), false);
    // Where the tool is follows from both instruments.
    assert.match(await page.getAttribute("#wheels", "class"), /is-dim/);
    assert.match(await page.textContent("#depth-old"), /OLD: load silent/);
    await until(page, () => document.getElementById("alarm-row").textContent.includes("LOAD CELL"));
    await picture(page, "load-silent");
    // What is done about it is done to it alone, and the other instrument is still heard.
    const [asked] = await Promise.all([page.waitForRequest(/acknowledge$/), page.click("#alarm-buttons >> text=Acknowledge")]);
    assert.equal(asked.postDataJSON().about, "load");
    await until(page, () => document.getElementById("said").textContent === "LOAD CELL: acknowledge sent");
    // Put aside: no banner, no sound, and for how long is said. It comes back by itself.
    await page.evaluate(() => fetch("/api/v1/alarms/sensor/shelve", {
      method: "POST", headers: { "content-type": "application/json" }, body: '{"author":"winch","seconds":1.5}',
    }));
    const aside = () => /LOAD CELL shelved until \d\d:\d\d:\d\d/.test(document.getElementById("alarm-text").textContent);
    await until(page, aside);
    assert.equal(await page.locator("#alarm-text strong:has-text('LOAD CELL')").count(), 0);
    await until(page, () => document.querySelector("#alarm-text strong")?.textContent.startsWith("LOAD CELL"));
    await page.click("#alarm-buttons >> text=Shelve");
    await page.click("dialog[open] >> text=/^5 min$/");
    assert.equal(await page.getAttribute("dialog[open] >> text=/^5 min$/", "aria-pressed"), "true");
    await page.click("dialog[open] .main");
    await until(page, aside);
    const left = await page.evaluate(async () => {
      const { store } = await import("/store.js");
      return store.now.alarms.find((alarm) => alarm.kind === "sensor").until_s - store.now.at_s;
    });
    assert.ok(left > 290 && left < 302, `${left} s left`);
    assert.equal(await page.locator("#alarm-text strong:has-text('LOAD CELL')").count(), 0);
    await picture(page, "shelved");
    await well("speak");
    await until(page, () => !document.getElementById("tension").classList.contains("is-old"));
  });

  await step("before anything is told the page says so, and nothing that sounds as if all were well", async () => {
    const context = await browser.newContext({ viewport: { width: 1280, height: 800 } });
    const silent = await context.newPage();
    await silent.route("**/api/v1/stream*", () => {});
    const said = () => silent.textContent("body").then((text) => text.replaceAll(/\s+/g, " "));
    await silent.goto(relayed);
    assert.match(await said(), /no data yet: nothing is watched/);
    assert.doesNotMatch(await said(), /no alarm|not rising|✓/);
    const took = await until(silent, () => document.getElementById("lost-title").textContent === "NO CONNECTION TO KERFWATCH" && !document.getElementById("lost").hidden);
    assert.ok(took < 2, `took ${took} s`);
    await picture(silent, "nothing-yet");
    await context.close();
  });

  await step("a lost connection cannot be missed, and the gap is filled when it is back", async () => {
    cut = true;
    for (const socket of open) socket.destroy();
    const took = await until(page, () => !document.getElementById("lost").hidden);
    console.log(`   seen after ${took.toFixed(2)} s`);
    assert.ok(took < 2, `took ${took} s`);
    assert.match(await page.textContent("#lost-title"), /CONNECTION LOST/);
    await page.waitForTimeout(1500);
    assert.match(await page.textContent("#chips"), /\? load\? depth\? recorder/);
    assert.doesNotMatch(await page.textContent("#health"), /✓/);
    await picture(page, "connection-lost");
    cut = false;
    await until(page, () => document.getElementById("lost").hidden);
    await until(page, () => /✓ load .*✓ recorder/.test(document.getElementById("chips").textContent));
    // Every point the daemon has must be there, whatever the well did meanwhile.
    const missing = await page.evaluate(async () => {
      const { store } = await import("/store.js");
      const times = new Set(store.points.at_s);
      const [first, newest] = [store.points.at_s[0], store.points.at_s.at(-1)];
      const { at_s } = await (await fetch("/api/v1/history?points=60000")).json();
      return { missing: at_s.filter((t) => t >= first && t <= newest && !times.has(t)), of: at_s.length };
    });
    assert.ok(missing.of > 100);
    assert.deepEqual(missing.missing, []);
  });

  await step("after a restart of the daemon the page follows the new run", async () => {
    const run = () => page.evaluate(async () => (await import("/store.js")).store.job.run_id);
    const before = await run();
    await well("restart");
    await until(page, async (old) => (await import("/store.js")).store.job.run_id !== old, before);
    await until(page, () => document.getElementById("lost").hidden && Number(document.getElementById("tension-value").textContent) > 1000);
    await until(page, async () => (await import("/store.js")).store.points.at_s.length > 10);
    const oldest = await page.evaluate(async () => (await import("/store.js")).store.points.at_s[0]);
    assert.ok(oldest < 30, "points of the old run are still there");
  });

  await step("garbage and a frozen load cell are drawn: counted, on the chip, on the banner in words", async () => {
    for (const [wish, words, chip, count] of [["garbage", "what it sends is garbled", "garbled", /[1-9]\d* bad frames/], ["freeze", "it does not change", "frozen", /[1-9]\d* frozen/]]) {
      await well(wish);
      await until(page, (word) => document.getElementById("alarm-row").textContent.includes("LOAD CELL")
        && document.getElementById("alarm-message")?.textContent.includes(`The load reading is not to be trusted (${word})`), words);
      await until(page, (word) => document.getElementById("chips").textContent.includes(`load ${word}`), chip);
      assert.match(await page.textContent("#health tr:has-text('load')"), count);
      await until(page, (word) => document.getElementById("tension-old").textContent.startsWith(`OLD: load ${word} for `), chip);
      assert.match(await page.textContent("#depth-old"), new RegExp(`^OLD: load ${chip} for`));
      await page.waitForTimeout(300);
      await picture(page, `load-${chip}`);
      await well("speak");
      await until(page, () => /✓ load \d/.test(document.getElementById("chips").textContent));
    }
  });

  await step("a counter that leapt is told beside the depth, which is grey until the counter is right", async () => {
    await well("leap");
    await until(page, () => document.getElementById("depth-old").textContent === "WRONG: counter leapt, set it" && !document.getElementById("depth-old").hidden);
    for (const id of ["state", "wheels", "line-out", "drag"]) assert.match(await page.getAttribute(`#${id}`, "class"), /is-dim/, id);
    await page.waitForTimeout(500);
    await picture(page, "counter-leapt");
    await well("leap_back");
    await until(page, () => document.getElementById("depth-old").hidden && !document.getElementById("wheels").classList.contains("is-dim"));
  });

  await step("units, clock and theme change and are remembered", async () => {
    await page.keyboard.press("u");
    await until(page, () => document.getElementById("tension-unit").textContent === "lbf" && /ft/.test(document.getElementById("line-out").textContent));
    await page.keyboard.press("t");
    await until(page, () => /local/.test(document.getElementById("clock-first").textContent));
    await page.keyboard.press("d");
    await page.reload();
    await page.waitForSelector('[data-theme="night"] #tension-unit >> text=lbf');
    await page.keyboard.press("u");
    await page.context().close();
  });

  await step("it fits a tablet, a phone and a wall, by day and by night, with targets for gloves", async () => {
    for (const [name, width, height] of [["tablet", 1280, 800], ["phone", 390, 844], ["wall", 1920, 1080]]) {
      for (const night of [false, true]) {
        const one = await look(demo, { width, height, night });
        await until(one, () => document.querySelectorAll("#joints tr").length > 0);
        await one.waitForTimeout(800);
        const spill = await one.evaluate(() => document.documentElement.scrollWidth - innerWidth);
        assert.ok(spill <= 0, `${name}: ${spill} px too wide`);
        const small = await one.evaluate(() => [...document.querySelectorAll("button")]
          .filter((button) => button.offsetParent !== null)
          .map((button) => [button.textContent, button.getBoundingClientRect()])
          .filter(([, box]) => box.height < 56 || box.width < 56)
          .map(([text, box]) => `${text} ${box.width}x${box.height}`));
        assert.deepEqual(small, [], name);
        if (name !== "phone") {
          const hidden = await one.evaluate(() => {
            // A long interval has many joints: their column grows, and pushes nothing else below the bar.
            const joints = document.getElementById("joints");
            for (let n = 0; n < 20; n += 1) joints.append(joints.firstElementChild.cloneNode(true));
            const bar = document.getElementById("actions").getBoundingClientRect().top;
            return ["strokes", "pipe-legend", "to-limit", "pipe"].filter((id) => document.getElementById(id).getBoundingClientRect().bottom > bar);
          });
          assert.deepEqual(hidden, [], `${name}: below the bar`);
        }
        await picture(one, `${name}-${night ? "night" : "day"}`, name === "phone");
        await one.context().close();
      }
    }
  });

  await step("where strokes hardly reach the end of a joint the page says so, and makes no figure of it", async () => {
    const one = await look(demo);
    // As the crew of an invented well left it: 0.6 m at the top passed by no stroke, and by one.
    const told = (passes) => one.evaluate(async (list) => {
      const { showJoints } = await import("/joints.js");
      const { units } = await import("/units.js");
      const groove = list.map((n, at) => ({
        top_m: 2173 + at / 10, bottom_m: 2173 + (at + 1) / 10, depth_mm: Math.cbrt(n), low_mm: 0, high_mm: 6, wall_mm: 6.88, passes: n, through: false, coupling: false,
      }));
      const joint = { top_m: 2173, bottom_m: groove.at(-1).bottom_m, min_depth_mm: 0, strokes_left_p50: 3495, strokes_left_p90: 6849 };
      showJoints({ groove, joints: [joint], outlook: [{ stroke_s: 88, ten_deepen_mm: 0, ten_split: 0 }] }, units("metric"));
      return [...document.querySelectorAll("#joints td")].slice(4).map((cell) => cell.textContent.replace("\u00a0", " "));
    }, passes);
    const reached = [24, 54, 68, 82, 96];
    assert.deepEqual(await told([0, 0, 0, 1, 1, 1, ...reached]), ["hardly reached:top 0.6 m", "–"]);
    assert.deepEqual(await told([0, ...reached, ...reached, 0, 2]), ["hardly reached:top 0.1, bottom 0.2 m", "–"]);
    assert.deepEqual(await told([0, 0, 0, 0, 0, 0, 0, ...reached, 0, 82, 96, 82, 96]), ["hardly reached:top 0.7, inside 0.1 m", "–"]);
    assert.deepEqual(await told([0, 0, 1, 1, 1, 1]), ["3495to 6849", "85:26to 167:26"]);
    assert.deepEqual(await told([19, ...reached]), ["hardly reached:top 0.1 m", "–"]);
    assert.deepEqual(await told([20, ...reached]), ["3495to 6849", "85:26to 167:26"]);
    await one.context().close();
  });

  await step("a cutter that the drag tells otherwise than marked says so", async () => {
    const one = await look(demo);
    const told = (mark, out, doubts, turned = false) => one.evaluate(async ([kind, cutterOut, marksDoubted, marksTurned]) => {
      const { store } = await import("/store.js");
      const { showTool } = await import("/tool.js");
      const { units } = await import("/units.js");
      const marks = store.marks;
      store.marks = [{ mark: kind, at_s: 0 }];
      showTool({ ...store.now, cutter_out: cutterOut, marks_doubted: marksDoubted, marks_turned: marksTurned }, units("metric"), 0, 0, 2);
      store.marks = marks;
      return ["cutter-name", "cutter"].map((id) => document.getElementById(id).textContent);
    }, [mark, out, doubts, turned]);
    const doubt = { kind: "in_early", mark_s: 0, from_s: 0, until_s: 9, message: "" };
    await until(one, async () => (await import("/store.js")).store.now !== null);
    assert.deepEqual(await told("cutter_in", true, [doubt]), ["cutter, by drag", "OUT"]);
    assert.deepEqual(await told("cutter_in", false, [doubt]), ["cutter", "IN"]);
    // Words the other way round are told by the drag too, whatever they say.
    assert.deepEqual(await told("cutter_in", true, [], true), ["cutter, by drag", "OUT"]);
    // What was just marked holds before the next snapshot says it.
    assert.deepEqual(await told("cutter_in", true, []), ["cutter", "IN"]);
    await one.context().close();
  });

  await step("wheels that bite otherwise are told with their stroke, and a lost one in colour", async () => {
    const one = await look(demo);
    const told = (wheels) => one.evaluate(async (list) => {
      const { showWheels } = await import("/joints.js");
      showWheels(list, (at_s) => `t+${at_s}`);
      const words = document.getElementById("other-wheels");
      return words.hidden ? "" : `${words.dataset.level}|${words.textContent}`;
    }, wheels);
    assert.equal(await told([]), "");
    const fresh = { from_stroke: 66, at_s: 3167, counts: 1.49, sudden: false };
    assert.equal(await told([fresh]), "|Wheels bite more from stroke 66 on (t+3167). A pass counts 1.5 of those before.");
    const lost = { from_stroke: 80, at_s: 3300, counts: 0.78, sudden: true };
    assert.equal(await told([fresh, lost]), "low|Wheels bite less at once from stroke 80 on (t+3300): one lost or stuck? A pass counts 0.8 of those before.");
    await one.context().close();
  });

  await step("a whole wall is drawn before the first stroke only, not where none has told anything", async () => {
    const one = await look(demo);
    const middle = (strokes) => one.evaluate(async (n) => {
      const { store } = await import("/store.js");
      const { drawPipe } = await import("/pipe.js");
      const { units } = await import("/units.js");
      const { job } = store;
      drawPipe(job, [], { strokes: n, tool_depth_m: null }, units("metric"), false);
      const canvas = document.getElementById("pipe");
      // Beside the words, which stand in the middle.
      return [...canvas.getContext("2d").getImageData(canvas.width * 0.6, canvas.height * 0.25, 1, 1).data].slice(0, 3).join();
    }, strokes);
    assert.equal(await middle(0), "141,147,152");
    assert.equal(await middle(1), "201,204,206");
    await one.context().close();
  });

  await step("low screens and phones lying on their side show tension, state and depth at once, and cut no word", async () => {
    const one = await look(demo, { width: 1280, height: 720 });
    await until(one, () => document.querySelectorAll("#joints tr").length > 0);
    for (const [width, height] of [[1280, 720], [1280, 800], [1366, 768], [1920, 950], [1536, 730], [1181, 800], [1180, 820], [1024, 768], [1024, 600], [800, 600], [932, 430], [844, 390], [667, 375]]) {
      for (const units of ["m", "ft"]) {
        const name = `${width}-${height}-${units}`;
        await one.setViewportSize({ width, height });
        await until(one, (unit) => {
          const is = document.getElementById("pipe-unit").textContent === unit;
          if (!is) document.getElementById("switch-units").click();
          return is;
        }, units);
        await one.waitForTimeout(300);
        // The longest of all headlines, and the longest figures of a joint that is split and of one that is not.
        const wrong = await one.evaluate(async () => {
          const { showAlarms } = await import("/alarms.js");
          const { showJoints } = await import("/joints.js");
          const { units } = await import("/units.js");
          const show = units(document.getElementById("pipe-unit").textContent === "ft" ? "field" : "metric");
          const alarm = { kind: "stall", about: "", level: "high", state: "latched_unacknowledged", raised_s: 1, until_s: null, message: "The line moves and the tool does not: stop pulling, slack off." };
          showAlarms([alarm], show);
          const bin = (top_m, through) => ({ top_m, bottom_m: top_m + 9, depth_mm: 1, low_mm: 0, high_mm: 2, wall_mm: 6.88, passes: 1284, through, coupling: false });
          const joint = (top_m) => ({ top_m, bottom_m: top_m + 9, min_depth_mm: 1, strokes_left_p50: 3495, strokes_left_p90: 6849 });
          const outlook = { stroke_s: 88, ten_deepen_mm: 1, ten_split: 0 };
          showJoints({ groove: [bin(2173, true), bin(2182, false)], joints: [joint(2173), joint(2182)], outlook: [outlook, outlook] }, show);
          const bar = document.getElementById("actions");
          const end = getComputedStyle(bar).position === "sticky" ? bar.getBoundingClientRect().top : innerHeight;
          const hidden = ["tension-value", "to-limit", "state", "wheels", "tool-speed", "strokes"]
            .filter((id) => document.getElementById(id).getBoundingClientRect().bottom > end);
          const wide = ["html", "#joints-section", "#alarm-text strong"].filter((what) => {
            const node = document.querySelector(what);
            return node.scrollWidth > node.clientWidth || (what !== "#joints-section" && node.scrollHeight > node.clientHeight + 4 && what !== "html");
          });
          const small = [...document.querySelectorAll("button")].filter((button) => button.offsetParent !== null)
            .map((button) => [button.textContent, button.getBoundingClientRect()])
            .filter(([, box]) => box.height < 48 || box.width < 48).map(([text]) => text);
          return { hidden, wide, small };
        });
        assert.deepEqual(wrong, { hidden: [], wide: [], small: [] }, name);
        if (units === "m") await picture(one, `low-${name}`);
      }
    }
    await one.context().close();
  });

  await shown({ look, demo, step, picture });

  await step("no serious accessibility finding, by day, by night, with a dialog open", async () => {
    await accessible(live, {});
    await accessible(live, { night: true });
    await accessible(demo, { width: 390, height: 844 });
    await accessible(live, {}, (one) => one.click("[data-mark=zero]"));
    await accessible(live, {}, (one) => one.click("#show-alarms"));
  });

  await step("ten minutes at 50 Hz: every peak is drawn, and how long a frame takes", async () => {
    const one = await look(live);
    const seen = await one.evaluate(async (count) => {
      const { store } = await import("/store.js");
      const { Envelope } = await import("/envelope.js");
      // Ten minutes before the present, so that what the well sends meanwhile is added to them.
      const { points, job, now } = store;
      const from = now.at_s - count * 0.02;
      const middle = (job.interval_top_m + job.interval_bottom_m) / 2;
      const make = {
        at_s: (n) => from + n * 0.02,
        tension_n: (n) => 1500 + 400 * Math.sin(n / 300) + 30 * Math.sin(n * 1.7),
        expected_n: () => 1500,
        line_m: (n) => middle + 8 * Math.sin(n / 600),
        tool_m: (n) => middle + 8 * Math.sin(n / 600),
        drag_n: () => 100,
      };
      make.tension_low_n = make.tension_high_n = make.tension_n;
      for (const name of Object.keys(points)) points[name] = Array.from({ length: count }, (_, n) => make[name](n));
      // One reading of 30 000.
      points.tension_high_n[12_345] = 4711;
      const step = 600 / 400;
      const names = { low: "tension_low_n", high: "tension_high_n" };
      const drawn = new Envelope(names).update(points.at_s[0], step);
      const peak = { highest: Math.max(...drawn.value), at: drawn.at[drawn.value.indexOf(4711)] - points.at_s[12_345], points: drawn.at.length };
      // The same when it grows point by point while the window slides.
      const grown = new Envelope(names);
      const held = {};
      for (const name of Object.keys(points)) held[name] = points[name].splice(10_000);
      for (let n = 0; n < held.at_s.length; n += 7) {
        for (const name of Object.keys(points)) points[name].push(...held[name].slice(n, n + 7));
        grown.update(points.at_s[n], step);
      }
      const last = points.at_s[held.at_s.length - held.at_s.length % 7];
      const whole = new Envelope(names).update(last, step);
      const tail = grown.update(last, step);
      const differ = whole.at.slice(2).filter((t, n) => !(tail.at.includes(t) && tail.value[tail.at.indexOf(t)] === whole.value[n + 2])).length;
      const columns = new Map();
      points.at_s.forEach((t, n) => {
        const key = Math.floor(t / step);
        const had = columns.get(key) ?? [Infinity, -Infinity];
        columns.set(key, [Math.min(had[0], points.tension_low_n[n]), Math.max(had[1], points.tension_high_n[n])]);
      });
      let lost = 0;
      for (const [key, [low, high]] of columns) {
        const mine = drawn.value.filter((_, n) => Math.floor(drawn.at[n] / step) === key);
        if (Math.min(...mine) !== low || Math.max(...mine) !== high) lost += 1;
      }
      return { peak, lost, differ };
    }, 30_000);
    assert.equal(seen.lost, 0);
    assert.equal(seen.differ, 0);
    assert.equal(seen.peak.highest, 4711);
    assert.equal(seen.peak.at, 0);
    assert.ok(seen.peak.points <= 2 * 402, `${seen.peak.points} points`);
    // As the page draws by itself, and the whole page drawn anew in every frame, which is six times as often
    // as anything changes.
    const frames = (whole) => one.evaluate((every) => new Promise((done) => {
      const [between, cost] = [[], []];
      let before = null;
      const frame = (begun) => {
        // Behind the page's own drawing of this frame: what has passed since is its cost.
        cost.push(performance.now() - begun);
        if (before !== null) between.push(begun - before);
        before = begun;
        if (between.length === 180) { done({ between, cost }); return; }
        if (every) window.dispatchEvent(new Event("resize"));
        requestAnimationFrame(frame);
      };
      requestAnimationFrame(frame);
    }), whole);
    const at = (list, part) => [...list].sort((a, b) => a - b)[Math.floor(part * (list.length - 1))].toFixed(1);
    // Figures to be read, not limits: the machine is shared and draws without a graphics card.
    for (const [name, whole] of [["as it runs", false], ["all drawn in every frame", true]]) {
      await browser.startTracing(one, { categories: ["devtools.timeline", "disabled-by-default-devtools.timeline"] });
      const { between, cost } = await frames(whole);
      const { traceEvents } = JSON.parse((await browser.stopTracing()).toString());
      const spent = (...names) => (traceEvents.filter((event) => event.ph === "X" && names.includes(event.name)).reduce((sum, event) => sum + event.dur, 0) / 180e3).toFixed(1);
      console.log(`   ${name}: script of a frame median ${at(cost, 0.5)} ms, p95 ${at(cost, 0.95)} ms; style and layout ${spent("UpdateLayoutTree", "Layout")} ms, paint ${spent("Paint", "PrePaint")} ms, software raster ${spent("RasterTask")} ms a frame`);
      console.log(`   ${name}: from frame to frame median ${at(between, 0.5)} ms, p95 ${at(between, 0.95)} ms, worst ${at(between, 1)} ms`);
    }
    await one.waitForTimeout(300);
    await picture(one, "ten-minutes");
    await one.context().close();
  });

  assert.deepEqual(troubles, []);
} catch (error) {
  console.log(`FAILED: ${error.stack}`);
  console.log(`troubles: ${JSON.stringify(troubles)}`);
  for (const context of browser.contexts()) for (const page of context.pages()) await picture(page, "failed").catch(() => {});
  process.exitCode = 1;
} finally {
  await browser.close();
  relay.close();
  process.exit();
}
