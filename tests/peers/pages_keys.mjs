// Goes through the pages of a depot in a real Chromium by keyboard alone: in on the door, past the menu, every page from its first stop of
// Tab to its last, every form. At each stop what has the focus must be seen: in the window, nothing over it, with an outline of at least
// 2 px (WCAG 2.2: 2.1.1, 2.1.2, 2.4.1, 2.4.3, 2.4.7, 2.4.11).
//
//     npm ci --ignore-scripts --prefix tests/peers
//     node tests/peers/pages_keys.mjs --gritbook=target/debug/gritbook [--pictures=FOLDER] [--chromium=PROGRAM]
import assert from "node:assert/strict";
import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { chromium } from "playwright-core";
import { PASSWORD, startDepot } from "./pages/depot.mjs";

const option = (name, usual) => process.argv.find((text) => text.startsWith(`--${name}=`))?.slice(name.length + 3) ?? usual;
const pictures = option("pictures");
const depot = await startDepot(option("gritbook", "target/debug/gritbook"));
const browser = await chromium.launch({ executablePath: option("chromium", "/usr/bin/chromium"), args: ["--no-sandbox", "--disable-dev-shm-usage"] });
let stops = 0;

// What has the focus, and whether a person sees that.
const focused = (page) =>
  page.evaluate(() => {
    const at = document.activeElement;
    if (!at || at === document.body) return null;
    // Every control in the order of the page, radio buttons of one name once: they are one stop.
    const all = [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea")];
    const box = at.getBoundingClientRect();
    const style = getComputedStyle(at);
    const over = document.elementFromPoint(box.left + box.width / 2, box.top + Math.min(box.height / 2, 12));
    return {
      place: all.indexOf(at),
      name: (at.getAttribute("aria-label") || at.labels?.[0]?.textContent || at.textContent || at.querySelector("img")?.alt || at.value || "").trim(),
      what: `${at.tagName.toLowerCase()}${at.name ? `[${at.name}]` : ""}${at.getAttribute("href") ?? ""}`,
      href: at.getAttribute("href"),
      inside: box.bottom > 0 && box.top < innerHeight && box.width > 0,
      covered: !(over && (at.contains(over) || over.contains(at) || at.labels?.[0]?.contains(over))),
      outline: style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth),
    };
  });

// A window that is still scrolling to the focus has come to rest within a second.
const atRest = async (page) => {
  let stop = await focused(page);
  for (let tries = 0; tries < 20 && stop && (!stop.inside || stop.covered); tries += 1) {
    await page.waitForTimeout(50);
    stop = await focused(page);
  }
  return stop;
};

const see = (stop, where) => {
  stops += 1;
  assert.ok(stop, `${where}: nothing has the focus`);
  assert.ok(stop.name, `${where}: ${stop.what} has no name`);
  assert.ok(stop.inside, `${where}: ${stop.what} is not in the window`);
  assert.ok(!stop.covered, `${where}: ${stop.what} is covered`);
  assert.ok(stop.outline >= 2, `${where}: ${stop.what} does not show that it has the focus`);
};

// Tab from the top to the end: in the order of the page, each stop once, and out again.
async function walk(page, where) {
  await page.evaluate(() => document.activeElement?.blur());
  const places = [];
  for (let count = 0; count < 400; count += 1) {
    await page.keyboard.press("Tab");
    const stop = await atRest(page);
    if (!stop) break;
    see(stop, where);
    if (!places.length) assert.equal(stop.href, "#page", `${where}: the first stop leads past the menu`);
    if (places.at(-1) === stop.place) continue; // a date has a stop for its day, its month and its year
    if (places.includes(stop.place)) break; // round again
    places.push(stop.place);
    assert.ok(count < 399, `${where}: Tab does not come to an end`);
  }
  assert.deepEqual(places, [...places].sort((one, other) => one - other), `${where}: not in the order of the page`);
  const wanted = await page.evaluate(() => {
    const all = [...document.querySelectorAll("a[href], button, input:not([type=hidden]):not([type=radio]), select, textarea")];
    const groups = new Set([...document.querySelectorAll("input[type=radio]")].map((one) => `${one.form?.action} ${[...document.forms].indexOf(one.form)} ${one.name}`));
    return all.length + groups.size;
  });
  assert.equal(places.length, wanted, `${where}: what can be used is not what Tab reaches`);
}

async function tabTo(page, wanted, where) {
  for (let count = 0; count < 400; count += 1) {
    const there = await page.evaluate((wanted) => document.activeElement?.matches(wanted), wanted);
    if (there) return see(await atRest(page), where);
    await page.keyboard.press("Tab");
  }
  assert.fail(`${where}: Tab does not reach ${wanted}`);
}

async function enter(page) {
  await Promise.all([page.waitForNavigation(), page.keyboard.press("Enter")]);
}

for (const language of ["en", "es"]) {
  for (const width of [1200, 390]) {
    const context = await browser.newContext({ locale: language, viewport: { width, height: 800 } });
    const page = await context.newPage();
    const where = (what) => `${language} ${width} ${what}`;
    await page.goto(depot.url + "/sign-in");
    await walk(page, where("door"));
    await tabTo(page, "[name=name]", where("door"));
    await page.keyboard.type(`owner-${language}`);
    await page.keyboard.press("Tab");
    await page.keyboard.type(PASSWORD);
    await enter(page);
    assert.equal(page.url(), depot.url + "/");

    // Past the menu: the next stop is the first one of the page itself.
    await page.keyboard.press("Tab");
    see(await atRest(page), where("skip"));
    if (pictures) {
      mkdirSync(pictures, { recursive: true });
      await page.screenshot({ path: join(pictures, `skip-${language}-${width}.png`) });
    }
    await page.keyboard.press("Enter");
    await page.keyboard.press("Tab");
    assert.ok(await page.evaluate(() => document.querySelector("main").contains(document.activeElement)), where("past the menu"));

    for (const path of ["/", `/pumps/${depot.pump}`, `/pumps/${depot.pump}/grades`, `/entries/${depot.entry}`, "/search?pump=otter", "/parts", "/me", "/devices", "/people", "/audit", "/pumps/nowhere"]) {
      await page.goto(depot.url + path);
      await walk(page, where(path));
    }

    // Search, and on to what was found.
    await page.goto(depot.url + "/search");
    await tabTo(page, "[name=pump]", where("search"));
    await page.keyboard.type("otter");
    await enter(page);
    await tabTo(page, ".ledger a[href^='/entries/']", where("found"));
    await enter(page);
    assert.ok(page.url().includes("/entries/"), where("found"));

    // Units by the arrows of a radio group.
    await page.goto(depot.url + "/me");
    await tabTo(page, "[name=units]", where("units"));
    const before = await page.evaluate(() => document.querySelector("[name=units]:checked").value);
    await page.keyboard.press("ArrowDown");
    await tabTo(page, "form[action='/me/choice'] button", where("units"));
    await enter(page);
    assert.notEqual(await page.evaluate(() => document.querySelector("[name=units]:checked").value), before, where("units"));
    assert.ok(await page.$("[role=status]"), where("units: said"));

    // A person in: role by Space, Enter in the form.
    await page.goto(depot.url + "/people");
    const add = "form[action='/people/add']";
    await tabTo(page, `${add} [name=name]`, where("add"));
    await page.keyboard.type(`Luis ${language} ${width}`);
    await tabTo(page, `${add} [name=role]`, where("add"));
    await page.keyboard.press("Space");
    await tabTo(page, `${add} button`, where("add"));
    await enter(page);
    assert.ok((await page.textContent(".secret")).length > 12, where("add"));

    // A device in by its code, and out again after the question.
    await page.goto(depot.url + "/devices");
    await tabTo(page, "form[action='/devices/enrol'] [name=name]", where("enrol"));
    await page.keyboard.type(`tablet ${language} ${width}`);
    await enter(page);
    assert.ok(await page.$(".code svg"), where("enrol"));
    await page.goto(depot.url + "/devices");
    await tabTo(page, `button[aria-label$=': tablet ${language} ${width}']`, where("shut out"));
    await enter(page);
    await tabTo(page, "main button", where("sure"));
    await enter(page);
    assert.ok(!(await page.textContent("main")).includes(`tablet ${language} ${width}`), where("shut out"));

    // Out.
    await page.goto(depot.url + "/me");
    await tabTo(page, "form[action='/sign-out'] button", where("out"));
    await enter(page);
    assert.ok(await page.$("[name=password]"), where("out"));
    await context.close();
  }
}
await browser.close();
console.log(`${stops} stops of Tab seen, all journeys done`);
process.exit(0);
