// A kernel spoken to as editors speak to it: by zeromq.js, with message ids and
// signatures of our own making.
import { after, before, test } from "node:test";
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { createHmac, randomUUID } from "node:crypto";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { Dealer, Request, Subscriber } from "zeromq";

const program = join(dirname(fileURLToPath(import.meta.url)), "../../../bin/evenbed");
const session = randomUUID();
const key = randomUUID();
const folder = mkdtempSync(join(tmpdir(), "evenbed-node-"));
const patience = 20_000; // milliseconds after which a silent kernel is given up

let kernel, shell, control, iopub, heartbeat;
let log = "";
const published = []; // what came on iopub
const waiting = []; // who waits for more of it

// freePorts returns ports that nobody listens on.
async function freePorts(count) {
  const servers = await Promise.all(Array.from({ length: count }, () => new Promise((resolve, reject) => {
    const server = createServer().once("error", reject);
    server.listen(0, "127.0.0.1", () => resolve(server));
  })));
  const ports = servers.map((server) => server.address().port);
  await Promise.all(servers.map((server) => new Promise((resolve) => server.close(resolve))));
  return ports;
}

// within gives a promise up after our patience, and says what was waited for.
function within(what, promise) {
  let timer;
  const late = new Promise((_, reject) => {
    timer = setTimeout(() => reject(new Error(`no ${what}; the kernel said:\n${log}`)), patience);
  });
  return Promise.race([promise, late]).finally(() => clearTimeout(timer));
}

const sign = (parts) => parts.reduce((hmac, part) => hmac.update(part), createHmac("sha256", key)).digest("hex");

// send sends a request and returns its id.
async function send(socket, type, content) {
  const header = { msg_id: randomUUID(), msg_type: type, session, username: "", date: new Date().toISOString(), version: "5.3" };
  const parts = [header, {}, {}, content].map((part) => JSON.stringify(part));
  await socket.send(["<IDS|MSG>", sign(parts), ...parts]);
  return header.msg_id;
}

// parse checks a message's signature and returns its parts.
function parse(frames) {
  const start = frames.findIndex((frame) => frame.toString() === "<IDS|MSG>");
  assert.notEqual(start, -1, "a message without a delimiter");
  const parts = frames.slice(start + 2, start + 6);
  assert.equal(frames[start + 1].toString(), sign(parts), "a wrong signature");
  const [header, parent, metadata, content] = parts.map((part) => JSON.parse(part));
  return { type: header.msg_type, parent: parent.msg_id, metadata, content };
}

// reply returns the next message of a socket and checks what it answers.
async function reply(socket, id, type) {
  const message = parse(await within(type, socket.receive()));
  assert.equal(message.parent, id);
  assert.equal(message.type, type);
  return message.content;
}

// outputs returns what was published for a request, once it has what is asked for.
async function outputs(id, enough = (all) => all.some((m) => m.content.execution_state === "idle")) {
  for (;;) {
    const all = published.filter((message) => message.parent === id);
    if (enough(all)) return all;
    await within("output", new Promise((resolve) => waiting.push(resolve)));
  }
}

function execute(code) {
  return send(shell, "execute_request", { code, silent: false, store_history: true, user_expressions: {}, allow_stdin: false, stop_on_error: true });
}

before(async () => {
  const ports = await freePorts(5);
  const [shell_port, iopub_port, stdin_port, control_port, hb_port] = ports;
  const file = join(folder, "kernel.json");
  writeFileSync(file, JSON.stringify({
    shell_port, iopub_port, stdin_port, control_port, hb_port,
    ip: "127.0.0.1", transport: "tcp", key, signature_scheme: "hmac-sha256", kernel_name: "evenbed",
  }), { mode: 0o600 });
  kernel = spawn(program, ["kernel", file], { stdio: ["ignore", "pipe", "pipe"] });
  kernel.stdout.on("data", (text) => (log += text));
  kernel.stderr.on("data", (text) => (log += text));
  const connected = (socket, port) => {
    socket.connect(`tcp://127.0.0.1:${port}`);
    return socket;
  };
  iopub = connected(new Subscriber(), iopub_port);
  iopub.subscribe();
  shell = connected(new Dealer({ routingId: session }), shell_port);
  control = connected(new Dealer({ routingId: session }), control_port);
  heartbeat = connected(new Request(), hb_port);
  (async () => {
    for await (const frames of iopub) {
      published.push(parse(frames));
      waiting.splice(0).forEach((resolve) => resolve());
    }
  })();
  await outputs(undefined, (all) => all.some((message) => message.type === "iopub_welcome"));
});

after(async () => {
  for (const socket of [shell, control, iopub, heartbeat]) socket?.close();
  if (kernel && kernel.exitCode === null) kernel.kill("SIGKILL");
  rmSync(folder, { recursive: true, force: true });
});

test("kernel_info on shell and on control", async () => {
  for (const socket of [shell, control]) {
    const info = await reply(socket, await send(socket, "kernel_info_request", {}), "kernel_info_reply");
    assert.equal(info.status, "ok");
    assert.equal(info.implementation, "evenbed");
    assert.equal(info.language_info.name, "go");
  }
});

test("the heart beats", async () => {
  await heartbeat.send("knock");
  const [echo] = await within("heartbeat", heartbeat.receive());
  assert.equal(echo.toString(), "knock");
});

test("a cell's text and value come in order", async () => {
  const id = await execute('import "fmt"\nfmt.Println("packed")\n6 * 7');
  const answer = await reply(shell, id, "execute_reply");
  assert.equal(answer.status, "ok");
  const messages = await outputs(id);
  assert.deepEqual(messages.map((message) => message.type), ["status", "execute_input", "stream", "execute_result", "status"]);
  assert.equal(messages[2].content.text, "packed\n");
  assert.equal(messages[3].content.data["text/plain"], "42");
  assert.equal(messages[3].content.execution_count, answer.execution_count);
});

test("completion after a package's name", async () => {
  const code = "fmt.Printl";
  const id = await send(shell, "complete_request", { code, cursor_pos: code.length });
  const found = await reply(shell, id, "complete_reply");
  assert.deepEqual(found.matches, ["Println"]);
  assert.deepEqual([found.cursor_start, found.cursor_end], [4, 10]);
});

test("an interrupt ends a cell, and its variables stay", async () => {
  const id = await execute("turns := 7\nfor {\n\tturns++\n}");
  await outputs(id, (all) => all.some((message) => message.type === "execute_input"));
  await new Promise((resolve) => setTimeout(resolve, 200)); // so that the loop is on its way
  const asked = await send(control, "interrupt_request", {});
  assert.equal((await reply(control, asked, "interrupt_reply")).status, "ok");
  assert.equal((await reply(shell, id, "execute_reply")).status, "error");
  const next = await execute("turns > 7");
  assert.equal((await reply(shell, next, "execute_reply")).status, "ok");
  const value = (await outputs(next)).find((message) => message.type === "execute_result");
  assert.equal(value.content.data["text/plain"], "true");
});

test("shutdown ends the kernel", async () => {
  const gone = new Promise((resolve) => kernel.once("exit", resolve));
  const id = await send(control, "shutdown_request", { restart: false });
  assert.equal((await reply(control, id, "shutdown_reply")).status, "ok");
  assert.equal(await within("end", gone), 0);
});
