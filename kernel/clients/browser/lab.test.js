// JupyterLab in a browser: a person opens the first notebook, runs it, looks
// at its outputs and asks for documentation.
import { after, before, test } from "node:test";
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { randomBytes } from "node:crypto";
import { cpSync, mkdirSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

const notebook = "01-first-pack.ipynb";
const root = join(dirname(fileURLToPath(import.meta.url)), "../../..");
const build = join(root, "build/browser");
const work = join(build, "work"); // JupyterLab saves what it runs, so it gets a copy
const settings = join(build, "settings");
const token = randomBytes(16).toString("hex");

let lab, browser, page;
let log = "";
const strangers = []; // what the page asked of other hosts

// freePort returns a port that nobody listens on.
function freePort() {
  return new Promise((resolve, reject) => {
    const server = createServer().once("error", reject);
    server.listen(0, "127.0.0.1", () => {
      const { port } = server.address();
      server.close(() => resolve(port));
    });
  });
}

// until asks a question every 100 ms until its answer is true.
async function until(what, seconds, question) {
  const end = Date.now() + seconds * 1000;
  for (;;) {
    const answer = await question();
    if (answer) return answer;
    if (Date.now() > end) throw new Error(`no ${what} within ${seconds} s`);
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
}

// set writes a user's settings of one of JupyterLab's plugins.
function set(extension, plugin, values) {
  const folder = join(settings, "@jupyterlab", extension);
  mkdirSync(folder, { recursive: true });
  writeFileSync(join(folder, `${plugin}.jupyterlab-settings`), JSON.stringify(values));
}

// status returns what JupyterLab says of the notebook's kernel.
function status() {
  return page.evaluate(() => {
    const session = globalThis.jupyterapp?.shell.currentWidget?.sessionContext?.session;
    return session ? `${session.kernel?.name} ${session.kernel?.status}` : "";
  });
}

// cells returns the source, the prompt and the kinds of output of each code cell.
function cells() {
  return page.evaluate(() => globalThis.jupyterapp.shell.currentWidget.content.widgets
    .filter((cell) => cell.model.type === "code")
    .map((cell) => ({
      source: cell.model.sharedModel.getSource(),
      count: cell.model.executionCount,
      outputs: cell.model.outputs.toJSON().map((output) => output.output_type),
      error: cell.model.outputs.toJSON().find((output) => output.output_type === "error")?.traceback?.join("\n"),
    })));
}

before(async () => {
  rmSync(build, { recursive: true, force: true });
  cpSync(join(root, "notebooks"), join(work, "notebooks"), { recursive: true });
  cpSync(join(root, "testdata"), join(work, "testdata"), { recursive: true });
  // All cells are in the page, not only those in view; nothing is asked of the network.
  set("notebook-extension", "tracker", { windowingMode: "none" });
  set("apputils-extension", "notification", { fetchNews: "false", checkForUpdates: false });

  const port = await freePort();
  const address = `http://127.0.0.1:${port}`;
  lab = spawn("jupyter", [
    "lab", "--no-browser", "--allow-root", "--expose-app-in-browser",
    "--ip=127.0.0.1", `--port=${port}`, "--ServerApp.port_retries=0",
    `--IdentityProvider.token=${token}`, `--notebook-dir=${work}`,
    "--log-level=WARN",
  ], { stdio: ["ignore", "pipe", "pipe"], env: { ...process.env, JUPYTERLAB_SETTINGS_DIR: settings } });
  lab.stdout.on("data", (text) => (log += text));
  lab.stderr.on("data", (text) => (log += text));
  await until("answer from JupyterLab", 60, async () => {
    if (lab.exitCode !== null) throw new Error(`JupyterLab ended:\n${log}`);
    return fetch(`${address}/api/status?token=${token}`).then((reply) => reply.ok, () => false);
  });

  browser = await chromium.launch({
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    args: process.getuid() === 0 ? ["--no-sandbox"] : [],
  });
  page = await browser.newPage({ viewport: { width: 1200, height: 1000 } });
  page.on("request", (request) => {
    if (!/^(data|blob):/.test(request.url()) && !request.url().startsWith(address)) strangers.push(request.url());
  });
  await page.goto(`${address}/lab/tree/notebooks/${notebook}?token=${token}`);
});

after(async () => {
  await browser?.close();
  if (lab && lab.exitCode === null) {
    const gone = new Promise((resolve) => lab.once("exit", resolve));
    lab.kill("SIGTERM");
    const force = setTimeout(() => lab.kill("SIGKILL"), 10_000);
    await gone;
    clearTimeout(force);
  }
  rmSync(work, { recursive: true, force: true });
  writeFileSync(join(build, "jupyterlab.log"), log);
});

test("the notebook opens with our kernel", async () => {
  await until("idle kernel", 60, async () => (await status()) === "evenbed idle");
});

test("all cells run without an error", async () => {
  const before = await cells();
  assert.ok(before.length > 0, "no code cells");
  await page.getByRole("menuitem", { name: "Edit", exact: true }).click();
  await page.getByRole("menuitem", { name: "Clear Outputs of All Cells" }).click();
  assert.ok((await cells()).every((cell) => cell.outputs.length === 0 && cell.count === null));
  await page.getByRole("menuitem", { name: "Run", exact: true }).click();
  await page.getByRole("menuitem", { name: "Run All Cells", exact: true }).click();
  const ran = await until("end of the run", 120, async () => {
    const now = await cells();
    const done = now.filter((cell) => cell.source.trim()).every((cell) => cell.count !== null);
    return (await status()) === "evenbed idle" && (done || now.some((cell) => cell.error)) && now;
  });
  assert.deepEqual(ran.map((cell) => cell.error).filter(Boolean), []);
  assert.ok(ran.some((cell) => cell.outputs.length > 0), "nothing is shown");
});

test("a table and a plot are in the page", async () => {
  const tables = page.locator(".jp-OutputArea-output table:visible");
  await until("table", 10, async () => (await tables.count()) > 0);
  assert.match(await tables.first().innerText(), /\d/);

  const plots = page.locator(".jp-RenderedSVG img:visible, .jp-OutputArea-output svg:visible");
  await until("plot", 10, async () => (await plots.count()) > 0);
  for (const plot of await plots.all()) {
    await plot.scrollIntoViewIfNeeded();
    const box = await plot.boundingBox();
    assert.ok(box.width > 200 && box.height > 100, `a plot of ${box.width} by ${box.height} pixels`);
    assert.notEqual(await plot.evaluate((image) => image.naturalWidth), 0, "a plot that cannot be drawn");
  }
  const panel = page.locator(".jp-WindowedPanel-outer:visible").first();
  const height = await panel.evaluate((node) => node.scrollHeight);
  await page.setViewportSize({ width: 1200, height: Math.min(height + 150, 12_000) });
  await panel.evaluate((node) => node.scrollTo(0, 0));
  await page.screenshot({ path: join(build, "notebook.png") });
  await page.setViewportSize({ width: 1200, height: 1000 });
});

test("Shift-Tab shows documentation", async () => {
  await page.locator(".jp-Notebook .jp-CodeCell:visible").last().locator(".cm-content").click();
  await page.keyboard.press("Escape");
  await page.keyboard.press("b"); // a new cell below
  await page.keyboard.press("Enter");
  await page.keyboard.type("packing.Column");
  await page.keyboard.press("Shift+Tab");
  const tooltip = page.locator(".jp-Tooltip:visible");
  await until("documentation", 15, async () => (await tooltip.count()) > 0);
  await page.screenshot({ path: join(build, "documentation.png") });
  assert.match(await tooltip.innerText(), /type Column struct/);
  assert.match(await tooltip.innerText(), /InnerDiameter/);
});

test("the page asks nothing of other hosts", () => {
  assert.deepEqual(strangers, []);
});
