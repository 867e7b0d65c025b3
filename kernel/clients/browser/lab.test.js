// JupyterLab in a browser: a person opens the first notebook, runs it, looks
// at its outputs, asks for documentation, interrupts, restarts and turns the
// lights out. Then all notebooks are run and saved.
import { after, before, test } from "node:test";
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { randomBytes } from "node:crypto";
import { cpSync, mkdirSync, readFileSync, readdirSync, rmSync, statSync, writeFileSync } from "node:fs";
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

// last returns the outputs of the last code cell, and whether it has ended.
function last() {
  return page.evaluate(() => {
    const cell = globalThis.jupyterapp.shell.currentWidget.content.widgets.findLast((cell) => cell.model.type === "code");
    return { source: cell.model.sharedModel.getSource(), count: cell.model.executionCount, outputs: cell.model.outputs.toJSON() };
  });
}

// type opens a cell at the end of the notebook and types into it.
async function type(text) {
  await page.evaluate(async () => {
    const { commands, shell } = globalThis.jupyterapp;
    const notebook = shell.currentWidget.content;
    notebook.activeCellIndex = notebook.widgets.length - 1;
    await commands.execute("notebook:insert-cell-below");
    await commands.execute("notebook:enter-edit-mode");
  });
  await page.keyboard.insertText(text);
}

// start runs a cell with this text at the end of the notebook.
async function start(text) {
  await type(text);
  await page.keyboard.press("Control+Enter");
}

// run does so, and returns its outputs when it has ended.
async function run(text) {
  await start(text);
  const cell = await until("end of the cell", 30, async () => {
    const cell = await last();
    return cell.count !== null && (await status()) === "evenbed idle" && cell;
  });
  return cell.outputs;
}

// button presses a button of the notebook's toolbar.
function button(command) {
  return page.locator(`.jp-NotebookPanel:visible [data-command="${command}"]`).first().click();
}

before(async () => {
  rmSync(build, { recursive: true, force: true });
  cpSync(join(root, "notebooks"), join(work, "notebooks"), { recursive: true });
  cpSync(join(root, "testdata"), join(work, "testdata"), { recursive: true });
  cpSync(join(root, "notebooks"), join(work, "saved/notebooks"), { recursive: true });
  cpSync(join(root, "testdata"), join(work, "saved/testdata"), { recursive: true });
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

test("Tab completes", async () => {
  const list = page.locator(".jp-Completer:visible");
  for (const [typed, offered] of [["efficiency.PulseR", /\bPulseResult\b/], ["packing.", /\bColumn\b[^]*\bMedium\b[^]*\bSlurry\b/]]) {
    await type(typed);
    await page.keyboard.press("Tab");
    await until("list", 15, async () => (await list.count()) > 0 && offered.test(await list.innerText()));
    await page.screenshot({ path: join(build, "completion.png") });
    await page.keyboard.press("Enter");
    await until("completion", 15, async () => /^(efficiency\.PulseR|packing\.)\w+$/.test((await last()).source));
  }
});

test("twenty plots of one cell all arrive", async () => {
  const outputs = await run("for n := 0; n < 20; n++ {\n\tDisplay(test)\n}");
  assert.deepEqual(outputs.map((output) => output.output_type), Array(20).fill("display_data"));
  const sizes = outputs.map((output) => output.data["image/svg+xml"].length);
  assert.ok(Math.min(...sizes) > 10_000, `pictures of ${sizes} bytes`);
  const shown = page.locator(".jp-Notebook .jp-CodeCell:visible").last().locator(".jp-OutputArea-output");
  assert.equal(await shown.count(), 20);
});

test("progress is one line that moves", async () => {
  await run('import "github.com/evenbed/evenbed/packing/trace"');
  await start([
    "many := make([]trace.Trace, 30000)", "for i := range many {", "\tmany[i] = uv", "}",
    "season, err := test.Pulse.EvaluateAll(many)", "len(season.Rows)",
  ].join("\n"));
  const seen = new Set();
  const done = await until("end of the cell", 60, async () => {
    const cell = await last();
    const lines = cell.outputs.filter((output) => /%/.test(output.data?.["text/plain"]));
    assert.ok(lines.length <= 1, "more than one line of progress");
    if (lines.length) seen.add(lines[0].data["text/plain"]);
    if (seen.size === 2) {
      await page.locator(".jp-OutputArea-output:visible").last().scrollIntoViewIfNeeded();
      await page.screenshot({ path: join(build, "progress.png") });
    }
    return cell.count !== null && (await status()) === "evenbed idle" && cell;
  });
  assert.deepEqual(done.outputs.map((output) => output.evalue ?? output.output_type), ["display_data", "execute_result"]);
  assert.match(done.outputs[0].data["text/plain"], /30000 of 30000 \(100 %\)/);
  assert.ok(seen.size > 2, `the line was seen as ${[...seen]}`);
});

test("the interrupt button ends a cell, and its variables stay", async () => {
  await start("turns := 0\nfor {\n\tturns++\n}");
  await until("busy kernel", 15, async () => (await status()) === "evenbed busy");
  await button("notebook:interrupt-kernel");
  await until("idle kernel", 15, async () => (await status()) === "evenbed idle");
  const { outputs } = await last();
  assert.deepEqual(outputs.map((output) => output.output_type), ["error"]);
  assert.equal(outputs[0].ename, "interrupted");
  assert.equal((await run("turns > 0"))[0].data["text/plain"], "true");
});

test("tables and pictures are legible in the dark", async () => {
  await page.evaluate(() => globalThis.jupyterapp.commands.execute("apputils:change-theme", { theme: "JupyterLab Dark" }));
  await until("dark theme", 15, () => page.evaluate(() => document.body.dataset.jpThemeLight === "false"));
  await page.locator(".jp-OutputArea-output", { hasText: "Meets the limits" }).first().scrollIntoViewIfNeeded();
  await page.setViewportSize({ width: 1200, height: 3000 });
  await page.screenshot({ path: join(build, "dark.png") });
  await page.setViewportSize({ width: 1200, height: 1000 });
  // Text on what is painted behind it; 4.5 is level AA of WCAG 2.1, 1.4.3.
  const faint = await page.evaluate(() => {
    const parse = (color) => color.match(/[\d.]+/g).map(Number);
    const light = ([r, g, b]) => [r, g, b].map((v) => v / 255)
      .map((v) => (v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
      .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
    const over = (top, below, part) => top.slice(0, 3).map((v, i) => part * v + (1 - part) * below[i]);
    const behind = (node) => {
      if (!node) return [255, 255, 255];
      const color = parse(getComputedStyle(node).backgroundColor);
      const part = color[3] ?? 1;
      return part === 1 ? color : over(color, behind(node.parentElement), part);
    };
    const found = [];
    let looked = 0;
    for (const node of document.querySelectorAll(".jp-OutputArea-output *:not(svg *)")) {
      const text = [...node.childNodes].filter((child) => child.nodeType === Node.TEXT_NODE).map((child) => child.data).join("").trim();
      if (!text) continue;
      looked++;
      const ground = behind(node);
      const color = parse(getComputedStyle(node).color);
      let part = color[3] ?? 1;
      for (let up = node; up && !up.matches(".jp-OutputArea-output"); up = up.parentElement) part *= Number(getComputedStyle(up).opacity);
      const [dim, bright] = [light(ground), light(over(color, ground, part))].sort((a, b) => a - b);
      const contrast = (bright + 0.05) / (dim + 0.05);
      if (contrast < 4.5) found.push(`${contrast.toFixed(2)}: ${text.slice(0, 60)}`);
    }
    return looked < 100 ? [`only ${looked} texts in the page`] : found;
  });
  assert.deepEqual(faint, []);
});

test("the restart button gives an empty kernel", async () => {
  await page.evaluate(() => {
    const context = globalThis.jupyterapp.shell.currentWidget.sessionContext;
    context.statusChanged.connect((_, now) => (globalThis.restarted ||= now.endsWith("starting")));
  });
  await button("notebook:restart-kernel");
  await page.locator(".jp-Dialog:visible .jp-mod-accept").click();
  await until("restarted kernel", 30, async () =>
    (await page.evaluate(() => globalThis.restarted)) && (await status()) === "evenbed idle");
  const outputs = await run("turns");
  assert.deepEqual(outputs.map((output) => output.output_type), ["error"]);
  assert.equal((await last()).count, 1);
  assert.equal((await run("6 * 7"))[0].data["text/plain"], "42");
});

for (const name of readdirSync(join(root, "notebooks")).filter((name) => name.endsWith(".ipynb"))) {
  test(`running and saving ${name} changes no byte`, async () => {
    const file = join(work, "saved/notebooks", name);
    const stored = statSync(file).mtimeMs;
    const { empty, dirty } = await page.evaluate(async (path) => {
      const { commands } = globalThis.jupyterapp;
      const panel = await commands.execute("docmanager:open", { path, factory: "Notebook" });
      await Promise.all([panel.context.ready, panel.sessionContext.ready, panel.revealed]);
      globalThis.jupyterapp.shell.activateById(panel.id);
      await commands.execute("notebook:clear-all-cell-outputs");
      const outputs = () => panel.content.widgets.reduce((sum, cell) => sum + (cell.model.outputs?.length ?? 0), 0);
      const empty = outputs() === 0;
      await commands.execute("notebook:run-all-cells");
      await panel.context.save();
      const dirty = panel.context.model.dirty;
      await panel.sessionContext.shutdown();
      panel.dispose();
      return { empty, dirty };
    }, `saved/notebooks/${name}`);
    assert.ok(empty, "the outputs were not cleared before the run");
    assert.ok(!dirty && statSync(file).mtimeMs > stored, "the notebook was not saved");
    const [now, before] = [file, join(root, "notebooks", name)].map((file) => readFileSync(file, "utf8").split("\n"));
    const line = before.findIndex((text, i) => text !== now[i]);
    assert.equal(line < 0 ? "" : `line ${line + 1}: ${now[line]}`, line < 0 ? "" : `line ${line + 1}: ${before[line]}`);
    assert.equal(now.length, before.length);
  });
}

test("the page asks nothing of other hosts", () => {
  assert.deepEqual(strangers, []);
});
