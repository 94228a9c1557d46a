// Leaves pages of a depot open in a real Chromium while entries come in: they say so, by themselves, once, only while someone looks at
// them, and no more once the session is over. Without script the same pages are whole.
//
//     npm ci --ignore-scripts --prefix tests/peers
//     node tests/peers/pages_news.mjs --gritbook=target/debug/gritbook [--pictures=FOLDER] [--chromium=PROGRAM]
import assert from "node:assert/strict";
import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { chromium } from "playwright-core";
import { signIn, startDepot } from "./pages/depot.mjs";

const option = (name, usual) => process.argv.find((text) => text.startsWith(`--${name}=`))?.slice(name.length + 3) ?? usual;
const pictures = option("pictures");
if (pictures) mkdirSync(pictures, { recursive: true });
const depot = await startDepot(option("gritbook", "target/debug/gritbook"));
const browser = await chromium.launch({ executablePath: option("chromium", "/usr/bin/chromium"), args: ["--no-sandbox", "--disable-dev-shm-usage"] });
const NEWS = ".news a";
let total = 1000;

// The answer is here before the page has shown it: looked at until it does, for 5 s.
async function until(read, wanted) {
  let found;
  for (let tries = 0; tries < 100; tries += 1) {
    found = await read();
    if (found === wanted) return;
    await new Promise((go) => setTimeout(go, 50));
  }
  assert.equal(found, wanted);
}

for (const [language, one, two] of [["en", "Show 1 new entry", "Show 2 new entries"], ["es", "Mostrar 1 registro nuevo", "Mostrar 2 registros nuevos"]]) {
  const context = await browser.newContext({ locale: language, viewport: { width: 390, height: 800 } });
  const page = await context.newPage();
  const [asked, wrong] = [[], []];
  page.on("request", (request) => request.url().includes("/news?") && asked.push(request.url()));
  page.on("console", (line) => line.type() === "error" && wrong.push(line.text()));
  page.on("pageerror", (error) => wrong.push(String(error)));
  // Its clock is set by hand: what happens after 20 s is seen at once.
  await page.clock.install();
  const told = () => page.evaluate((news) => document.querySelector(news)?.textContent, NEWS);
  const asks = async () => {
    const answer = page.waitForResponse((reply) => reply.url().includes("/news?"));
    await page.clock.fastForward(20_000);
    return (await answer).status();
  };
  await signIn(page, depot.url, `office-${language}`);
  const entries = async () => Number((await page.textContent(".sum")).match(/(\d+) \D+$/)[1]);
  const had = await entries();
  assert.equal(asked.length, 0, "nothing is asked before it is time");
  assert.equal(await asks(), 204);
  assert.equal(await page.locator(NEWS).count(), 0);

  depot.more("Otter", String((total += 10)));
  assert.equal(await asks(), 200);
  await until(told, one);
  depot.more("Heron", String((total += 10)));
  assert.equal(await asks(), 200);
  await until(told, two);
  if (pictures) await page.screenshot({ path: join(pictures, `news-${language}.png`) });
  const box = await page.locator(NEWS).boundingBox();
  assert.ok(box.height >= 44 && box.width >= 100, `a thumb finds it: ${JSON.stringify(box)}`);

  // Whoever stands on it by keyboard stays on it while its words change, and goes on from it.
  await page.focus(NEWS);
  depot.more("Otter", String((total += 10)));
  assert.equal(await asks(), 200);
  await until(() => page.evaluate((news) => document.activeElement.matches(news) && document.activeElement.textContent.includes("3"), NEWS), true);
  await Promise.all([page.waitForNavigation(), page.keyboard.press("Enter")]);
  assert.equal(await entries(), had + 3);
  assert.equal(await asks(), 204);
  assert.equal(await page.locator(NEWS).count(), 0, "it shows them");

  // Of one pump: another one's entries are no news.
  await page.goto(`${depot.url}/pumps/${depot.pump}`);
  depot.more("Heron", String((total += 10)));
  assert.equal(await asks(), 204);
  depot.more("Otter", String((total += 10)));
  assert.equal(await asks(), 200);
  await until(told, one);

  // Nobody looks: nothing is asked. Somebody looks again: asked at once.
  const look = (state) =>
    page.evaluate((state) => {
      Object.defineProperty(document, "visibilityState", { value: state, configurable: true });
      document.dispatchEvent(new Event("visibilitychange"));
    }, state);
  const before = asked.length;
  await look("hidden");
  await page.clock.fastForward(120_000);
  assert.equal(asked.length, before, "not while nobody looks");
  const again = page.waitForResponse((reply) => reply.url().includes("/news?"));
  await look("visible");
  assert.equal((await again).status(), 200);
  assert.deepEqual(wrong, [], "no error, and nothing that the page's policy forbids");

  // Signed out in another window: told once, then silent.
  const other = await context.newPage();
  await other.goto(depot.url + "/me");
  await Promise.all([other.waitForNavigation(), other.click("form[action='/sign-out'] button")]);
  assert.equal(await asks(), 401);
  const last = asked.length;
  await page.clock.fastForward(120_000);
  await page.waitForTimeout(300);
  assert.equal(asked.length, last, "no more once the session is over");
  assert.equal(await told(), one, "what it said stays");
  await context.close();

  // Without script: whole, and it loads none.
  const plain = await browser.newContext({ locale: language, javaScriptEnabled: false });
  const still = await plain.newPage();
  const scripts = [];
  still.on("request", (request) => request.resourceType() === "script" && scripts.push(request.url()));
  await signIn(still, depot.url, `office-${language}`);
  assert.equal(await still.locator("section.pump").count(), 3);
  assert.deepEqual(scripts, []);
  await plain.close();
}
await browser.close();
console.log("open pages are told of what came, and of nothing else");
process.exit(0);
