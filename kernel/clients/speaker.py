"""A small client: starts a kernel by its command line and talks to it.

All kernels are started and spoken to in the same way, so that their times
can be compared.
"""
import contextlib
import os
import subprocess
import tempfile
import time

import psutil
import zmq
from jupyter_client import BlockingKernelClient
from jupyter_client.connect import write_connection_file

PATIENCE = 60  # seconds after which a silent kernel is given up


class Kernel:
    """A running kernel, its client and the time its start took."""

    def __init__(self, command, env=None):
        """Start command, in which {file} stands for the connection file."""
        self.folder = tempfile.TemporaryDirectory(prefix="evenbed-clients-")
        file, _ = write_connection_file(os.path.join(self.folder.name, "kernel.json"))
        context = zmq.Context()
        # A client waits 100 ms by default before it knocks again, which is
        # longer than some kernels need to start.
        context.setsockopt(zmq.RECONNECT_IVL, 1)
        # Outputs are read after the reply. A kernel that waits for its client to
        # read thousands of them would never send it.
        context.setsockopt(zmq.RCVHWM, 0)
        self.client = BlockingKernelClient(connection_file=file, context=context)
        self.client.load_connection_file()
        self.log = open(os.path.join(self.folder.name, "log"), "w+")
        started = time.perf_counter()
        self.process = subprocess.Popen(
            [part.replace("{file}", file) for part in command],
            env=env, cwd=self.folder.name,
            stdin=subprocess.DEVNULL, stdout=self.log, stderr=self.log)
        self.client.start_channels(hb=False)
        self.info = self.reply(self.client.kernel_info())["content"]
        self.start_seconds = time.perf_counter() - started
        # What a kernel publishes before the client has subscribed is lost.
        while not self.client.iopub_channel.socket.poll(100):
            self.reply(self.client.kernel_info())

    def reply(self, msg_id):
        """Return the shell reply to a request."""
        deadline = time.monotonic() + PATIENCE
        while time.monotonic() < deadline:
            if self.client.shell_channel.socket.poll(100):
                message = self.client.shell_channel.get_msg()
                if message["parent_header"].get("msg_id") == msg_id:
                    return message
            elif self.process.poll() is not None:
                break
        self.log.seek(0)
        raise RuntimeError(
            f"{self.process.args[0]}: no reply, exit code {self.process.poll()}\n{self.log.read()[-2000:]}")

    def outputs(self, msg_id):
        """Return what a request published, up to and with its idle status."""
        messages = []
        deadline = time.monotonic() + PATIENCE
        while time.monotonic() < deadline:
            if not self.client.iopub_channel.socket.poll(100):
                continue
            message = self.client.iopub_channel.get_msg()
            if message["parent_header"].get("msg_id") != msg_id:
                continue
            messages.append(message)
            if message["content"].get("execution_state") == "idle":
                return messages
        raise RuntimeError(f"{self.process.args[0]}: no idle status; got {[m['msg_type'] for m in messages]}")

    def execute(self, code):
        """Run a cell; return its reply and what it published."""
        msg_id = self.client.execute(code)
        return self.reply(msg_id), self.outputs(msg_id)

    def memory(self):
        """Return the bytes of memory of the kernel and its children: their share (PSS), and what nobody shares (USS)."""
        process = psutil.Process(self.process.pid)
        infos = [p.memory_full_info() for p in [process, *process.children(recursive=True)]]
        return {"pss": sum(info.pss for info in infos), "uss": sum(info.uss for info in infos)}

    def interrupt(self):
        """Ask by message, without waiting, that the running cell stop."""
        control = self.client.control_channel
        control.send(self.client.session.msg("interrupt_request", {}))

    def close(self):
        """Shut the kernel down, by force if it does not listen."""
        self.client.shutdown()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(3)
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self.client.stop_channels()
        self.client.context.destroy(linger=0)
        self.log.close()
        self.folder.cleanup()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()
