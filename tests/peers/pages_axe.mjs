// Holds every page of a depot against axe-core in a real Chromium: as nobody and as each role, in both languages, at the width of a desk
// and of a phone, by day and at night. Besides: nothing is wider than the page, down to 320 px (WCAG 2.2, 1.4.10).
//
//     npm ci --ignore-scripts --prefix tests/peers
//     node tests/peers/pages_axe.mjs --gritbook=target/debug/gritbook [--pictures=FOLDER] [--unsure] [--chromium=PROGRAM]
//
// Every rule that axe-core has on by default is asked for, best practice too. Ends with 1 where one is broken.
import { mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { chromium } from "playwright-core";
import { LANGUAGES, ROLES, signIn, startDepot } from "./pages/depot.mjs";

const option = (name, usual) => process.argv.find((text) => text.startsWith(`--${name}=`))?.slice(name.length + 3) ?? usual;
const pictures = option("pictures");
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const WIDTHS = [1200, 390];
const LIGHTS = ["light", "dark"];

const depot = await startDepot(option("gritbook", "target/debug/gritbook"));
const browser = await chromium.launch({ executablePath: option("chromium", "/usr/bin/chromium"), args: ["--no-sandbox", "--disable-dev-shm-usage"] });
let runs = 0;
const broken = new Map();
const unsure = new Map();
const note = (map, key, where) => map.set(key, [...(map.get(key) ?? []), where]);

async function look(page, who, name) {
  for (const width of WIDTHS) {
    await page.setViewportSize({ width, height: 900 });
    for (const colorScheme of LIGHTS) {
      await page.emulateMedia({ colorScheme });
      const where = `${who} ${name} ${width} ${colorScheme}`;
      await page.evaluate(axe);
      const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations", "incomplete"] }));
      runs += 1;
      for (const rule of found.violations)
        for (const node of rule.nodes) note(broken, `${rule.id}: ${rule.help} :: ${node.target} :: ${node.failureSummary.split("\n").slice(1, 3).join(" ").trim()}`, where);
      for (const rule of found.incomplete)
        for (const node of rule.nodes) note(unsure, `${rule.id}: ${node.target} :: ${node.any[0]?.message ?? ""}`, where);
      if (pictures) {
        mkdirSync(pictures, { recursive: true });
        await page.screenshot({ path: join(pictures, `${where.replace(/[^a-z0-9]+/gi, "-")}.png`), fullPage: true });
      }
    }
  }
  await page.emulateMedia({ colorScheme: "light" });
  for (const width of [390, 320]) {
    await page.setViewportSize({ width, height: 700 });
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    if (wide > width) note(broken, `wider than the page: ${wide} px at ${width} px`, `${who} ${name}`);
  }
  await page.setViewportSize({ width: WIDTHS[0], height: 900 });
}

const PAGES = {
  fleet: "/", pump: `/pumps/${depot.pump}`, grades: `/pumps/${depot.pump}/grades`, entry: `/entries/${depot.entry}`, search: "/search", parts: "/parts",
  found: "/search?pump=otter", "bad-day": "/search?from=yesterday", me: "/me", nowhere: "/pumps/nowhere",
};
const OWNERS = { devices: "/devices", people: "/people", audit: "/audit" };

const fresh = (language) => browser.newContext({ bypassCSP: true, locale: language, viewport: { width: WIDTHS[0], height: 900 } });
for (const language of LANGUAGES) {
  const nobody = await fresh(language);
  const door = await nobody.newPage();
  await door.goto(depot.url + "/sign-in");
  await look(door, `nobody-${language}`, "door");
  await door.fill("[name=name]", "nobody at all");
  await door.fill("[name=password]", "not the password");
  await door.press("[name=password]", "Enter");
  await door.waitForSelector("[role=alert]");
  await look(door, `nobody-${language}`, "wrong-password");
  await nobody.close();
  for (const role of ROLES) {
    const context = await fresh(language);
    const page = await context.newPage();
    const who = `${role}-${language}`;
    await signIn(page, depot.url, who);
    for (const [name, path] of Object.entries({ ...PAGES, ...(role === "owner" ? OWNERS : { "not-allowed": "/people" }) })) {
      await page.goto(depot.url + path);
      await look(page, who, name);
    }
    if (role === "owner") {
      await page.goto(depot.url + "/devices");
      await page.fill("form[action='/devices/enrol'] [name=name]", `tablet ${language}`);
      await page.click("form[action='/devices/enrol'] button");
      await look(page, who, "code");
      await page.goto(depot.url + "/devices");
      await page.click("form[action='/devices/revoke'] button >> nth=0");
      await look(page, who, "sure");
      await page.goto(depot.url + "/people");
      await page.fill("form[action='/people/add'] [name=name]", `Luis ${language}`);
      await page.check("form[action='/people/add'] [value=mechanic]");
      await page.click("form[action='/people/add'] button");
      await look(page, who, "password");
      await page.goto(depot.url + "/people");
      await page.fill("form[action='/people/add'] [name=name]", `Luis ${language}`);
      await page.check("form[action='/people/add'] [value=mechanic]");
      await page.click("form[action='/people/add'] button");
      await look(page, who, "name-taken");
    }
    await context.close();
  }
}
await browser.close();
for (const [what, where] of broken) console.log(`BROKEN ${what}\n       ${where.length}x, first: ${where[0]}`);
if (process.argv.includes("--unsure")) for (const [what, where] of unsure) console.log(`to be looked at by eye: ${what}, ${where.length}x, first: ${where[0]}`);
console.log(`${runs} looks, ${broken.size} kinds of broken rules, ${unsure.size} places that axe-core leaves to the eye (--unsure lists them)`);
process.exit(broken.size ? 1 : 0);
