// A depot on loopback with a pump, photos, grades and people of every role and language.
import { execFileSync, spawn } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join, resolve } from "node:path";
import { fileURLToPath } from "node:url";

const PHOTOS = join(dirname(fileURLToPath(import.meta.url)), "../../../fixtures/photos");
export const PASSWORD = "gravel under the boots";
export const ROLES = ["mechanic", "office", "owner"];
export const LANGUAGES = ["en", "es"];

// A pump whose cups were called on, poured with and failed, so that lives and calls have something to tell.
function worn(write) {
  let [day, total] = [0, 2000];
  const next = () => new Date(Date.UTC(2026, 0, 5 + 3 * day++, 6)).toISOString();
  const fit = () => ["A", "B"].forEach((cup) => write(["fit", "--cup", cup, "--pump-m3", String(total)], next()));
  fit();
  for (let pour = 1; pour <= 16; pour += 1) {
    write(["call", "--next-pour-m3", "800", "--pump-m3", String(total), "--record"], next());
    total += 800;
    write(["pour", "--pour-m3", "800", "--pump-m3", String(total)], next());
    if (pour % 4) continue;
    for (const [cup, reason] of [["A", "failed"], ["B", "other-cup"]]) write(["remove", "--cup", cup, "--reason", reason, "--pump-m3", String(total)], next());
    fit();
  }
}

export async function startDepot(program) {
  const gritbook = resolve(program);
  const folder = mkdtempSync(join(tmpdir(), "gritbook-pages-"));
  const [data, book] = [join(folder, "depot"), join(folder, "book")];
  const run = (args, input) => execFileSync(gritbook, args, { input, encoding: "utf8", stdio: ["pipe", "pipe", "inherit"] });
  const { token } = JSON.parse(run(["enroll", "--data", data, "--name", "phone of the north yard", "--json"]));
  run(["enroll", "--data", data, "--name", "phone in the drawer", "--json"]);
  const child = spawn(gritbook, ["depot", "--data", data, "--listen", "127.0.0.1:0"], { stdio: ["ignore", "pipe", "ignore"] });
  // However this program ends, the depot ends with it.
  process.on("exit", () => {
    child.kill("SIGKILL");
    rmSync(folder, { recursive: true, force: true });
  });
  const url = await new Promise((ready, failed) => {
    child.stdout.once("data", (line) => ready(String(line).trim().replace("depot ready at ", "")));
    child.once("exit", () => failed(new Error("the depot ended")));
  });
  const check = (pump, total, ...more) => run(["book", book, "--person", "Rosa", "check", "--pump", pump, "--pump-m3", total, ...more]);
  check("Otter", "120", "--photo", join(PHOTOS, "demo_paste.jpg"), "--grade", "A=1", "--grade", "B=0", "--liquid", "grey");
  check("Otter", "860", "--photo", join(PHOTOS, "demo_sand.jpg"), "--grade", "A=3", "--grade", "B=2", "--liquid", "muddy", "--liquid-low");
  check("Heron", "40", "--photo", join(PHOTOS, "demo_lumps.jpg"), "--grade", "A=4");
  run(["book", book, "--person", "Rosa", "pump", "add", "Badger", "--at", "2026-01-04T06:00:00Z"]);
  worn((args, at) => run(["book", book, "--person", "Rosa", ...args, "--pump", "Badger", "--at", at]));
  const sync = () => run(["book", book, "sync", "--depot", url, "--token", token]);
  sync();
  for (const role of ROLES) {
    for (const language of LANGUAGES) {
      const pumps = role === "mechanic" ? ["--pump", "Otter"] : [];
      const units = ["--units", language === "en" ? "inch" : "metric"];
      run(["people", "add", "--data", data, "--name", `${role}-${language}`, "--role", role, "--language", language, ...units, ...pumps, "--password-stdin"], PASSWORD + "\n");
    }
  }
  const ask = async (path) => (await fetch(url + path, { headers: { Authorization: `Bearer ${token}` } })).json();
  const { entries } = await ask("/v1/entries");
  const otter = entries.find((entry) => entry.kind === "pump_set" && entry.body.name === "Otter")?.pump ?? entries[0].pump;
  const checked = entries.filter((entry) => entry.pump === otter && entry.kind === "box_check").pop();
  // One more check of a pump comes in.
  const more = (pump, total) => {
    check(pump, total, "--level", "sand");
    sync();
  };
  return { url, pump: otter, entry: checked.id, more };
}

export async function signIn(page, url, name, password = PASSWORD) {
  await page.goto(url + "/sign-in");
  await page.fill("[name=name]", name);
  await page.fill("[name=password]", password);
  await page.press("[name=password]", "Enter");
  await page.waitForURL(url + "/");
}
