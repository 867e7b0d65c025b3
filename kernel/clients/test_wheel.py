"""The wheel in fresh environments, without a network, until nothing of it is left."""
import json
import os
import pathlib
import platform
import re
import site
import socket
import subprocess
import sys
import time
import urllib.request
import venv

import nbformat
import pytest
import websocket

MACHINES = {"x86_64": "x86_64", "amd64": "x86_64", "aarch64": "aarch64", "arm64": "aarch64"}
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="the wheels of other systems are checked by their content")


@pytest.fixture(scope="module")
def wheel(root):
    """Return the wheel for this system, which `make wheel` made."""
    found = list((root / "build/wheels").glob(f"evenbed-*manylinux*_{MACHINES[platform.machine().lower()]}*.whl"))
    assert len(found) == 1, f"make wheel makes one for this system: {found}"
    return found[0]


class Environment:
    """A fresh environment of Python in a home of its own, never active and with an empty PATH.

    The Jupyter programs of the tests can be imported in it.
    """

    def __init__(self, folder, user=False):
        self.home = folder / "home"
        self.prefix = folder / "environment"
        self.home.mkdir()
        self.variables = {"HOME": str(self.home), "PATH": "", "LANG": "C.UTF-8", "PIP_NO_INDEX": "1", "PYTHONDONTWRITEBYTECODE": "1",
                          "PIP_DISABLE_PIP_VERSION_CHECK": "1", "PIP_NO_COMPILE": "1", "no_proxy": "*"}
        clients = "\n".join(site.getsitepackages())
        if user:  # pip knows no --user in an environment: the Python that all environments are made of, its own folder untouched
            self.python = sys._base_executable
            self.variables["PYTHONPATH"] = clients
            return
        venv.create(self.prefix, with_pip=True)
        self.python = self.prefix / "bin/python"
        (next(self.prefix.glob("lib/python*/site-packages")) / "clients.pth").write_text(clients + "\n")

    def run(self, *command, fails=False):
        """Run a command and return what it prints."""
        done = subprocess.run([*map(str, command)], env=self.variables, cwd=self.home, capture_output=True, text=True, timeout=300)
        assert (done.returncode != 0) == fails, done.stdout + done.stderr
        return done.stdout + done.stderr

    def pip(self, *arguments):
        """Run pip, which asks no index."""
        return self.run(self.python, "-m", "pip", *arguments)

    def files(self):
        """Return all files of the environment and of the home."""
        return {path for top in (self.prefix, self.home) for path in top.rglob("*")}


RUN = """
import nbformat, sys
from nbclient import NotebookClient
notebook = nbformat.read(sys.argv[1], as_version=4)
for cell in notebook.cells:
    if cell.cell_type == "code":
        cell.outputs = []
NotebookClient(notebook, kernel_name="evenbed", timeout=120, resources={"metadata": {"path": sys.argv[2]}}).execute()
nbformat.write(notebook, sys.argv[3])
"""


def shown(path):
    """Return the data of all outputs of a notebook."""
    return [output.get("data", output.get("text")) for cell in nbformat.read(path, as_version=4).cells
            if cell.cell_type == "code" for output in cell.outputs]


def run_notebook(environment, command, root, tmp_path):
    """Run the first notebook through nbclient, which starts the kernel, and through the installed command."""
    notebook = root / "notebooks/01-first-pack.ipynb"
    made = tmp_path / "ran.ipynb"
    environment.run(environment.python, "-c", RUN, notebook, notebook.parent, made)
    environment.run(command, "run", "--out", tmp_path / "out", notebook)
    assert len(shown(made)) > 5
    assert shown(made) == shown(tmp_path / "out" / notebook.name), "nbclient shows something else than evenbed run"


def run_in_lab(environment, root, ran):
    """Start JupyterLab's server, ask it for a kernel, run the first notebook, and stop it."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    token = "only-for-this-test"
    lab = subprocess.Popen([environment.python, "-m", "jupyterlab", "--no-browser", "--allow-root", f"--port={port}",
                            "--ServerApp.port_retries=0", f"--IdentityProvider.token={token}", f"--notebook-dir={root}"],
                           env=environment.variables, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)

    def ask(method, path, content=None):
        request = urllib.request.Request(f"http://127.0.0.1:{port}/api/{path}", method=method,
                                         data=json.dumps(content).encode() if content else None,
                                         headers={"Authorization": f"token {token}"})
        with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request, timeout=30) as reply:
            return json.loads(reply.read() or "null")

    try:
        deadline = time.monotonic() + 90
        while True:
            try:
                specs = ask("GET", "kernelspecs")
                break
            except OSError:
                assert lab.poll() is None, lab.stderr.read()
                assert time.monotonic() < deadline, "JupyterLab does not answer"
                time.sleep(0.2)
        assert specs["kernelspecs"]["evenbed"]["spec"]["argv"][0].startswith("{resource_dir}")
        kernel = ask("POST", "kernels", {"name": "evenbed", "path": "notebooks"})
        channel = websocket.create_connection(f"ws://127.0.0.1:{port}/api/kernels/{kernel['id']}/channels?token={token}", timeout=60)
        outputs = []
        for cell in nbformat.read(ran, as_version=4).cells:
            if cell.cell_type != "code":
                continue
            channel.send(json.dumps({
                "header": {"msg_id": cell.id, "msg_type": "execute_request", "username": "", "session": "test", "version": "5.3", "date": ""},
                "parent_header": {}, "metadata": {}, "channel": "shell", "buffers": [],
                "content": {"code": cell.source, "silent": False, "store_history": True, "user_expressions": {},
                            "allow_stdin": False, "stop_on_error": True}}))
            state = None
            while state != "idle":
                message = json.loads(channel.recv())
                if message["parent_header"].get("msg_id") != cell.id:
                    continue
                assert message["msg_type"] != "error", message["content"]
                state = message["content"].get("execution_state")
                if message["msg_type"] in ("display_data", "execute_result", "stream"):
                    outputs.append(message["content"].get("data", message["content"].get("text")))
        assert outputs == shown(ran), "JupyterLab is shown something else than evenbed run"
        channel.close()
        ask("DELETE", f"kernels/{kernel['id']}")
    finally:
        lab.terminate()
        try:
            lab.wait(30)
        except subprocess.TimeoutExpired:
            lab.kill()
            lab.wait()


def history(environment, command):
    """Return the history file that the program names."""
    text = environment.run(command, "doctor")
    assert "! " not in text, text
    return pathlib.Path(re.search(r"^history .*\n +(\S+)$", text, re.M).group(1))


def test_environment(wheel, root, tmp_path):
    """pip installs, nbclient and JupyterLab run it, pip removes it, and history alone is left."""
    environment = Environment(tmp_path)
    before = environment.files()
    environment.pip("install", "--pre", "--find-links", wheel.parent, "evenbed")  # pip takes the one for this system
    added = {path.relative_to(environment.prefix).as_posix() for path in environment.files() - before}
    assert {"bin/evenbed", "share/jupyter/kernels/evenbed/kernel.json"} <= added, added
    assert not [path for path in added if path.endswith(".py")], added

    command = environment.prefix / "bin/evenbed"
    assert re.search(r"evenbed +" + re.escape(str(environment.prefix / "share/jupyter/kernels/evenbed")),
                     environment.run(environment.python, "-m", "jupyter_client.kernelspecapp", "list"))
    kept = history(environment, command)
    assert kept.is_relative_to(environment.home)
    run_notebook(environment, command, root, tmp_path)
    run_in_lab(environment, root, tmp_path / "out/01-first-pack.ipynb")
    assert "came with pip" in environment.run(command, "uninstall", "--prefix", environment.prefix, fails=True)
    assert "Mozilla Public License" in environment.run(command, "version", "--licences")

    environment.pip("uninstall", "--yes", "evenbed")
    left = environment.files() - before
    # What Jupyter and IPython write into a home is not ours.
    ours = {path for path in left if path.is_file() and not {".jupyter", ".ipython", "jupyter", ".cache"} & set(path.parts)}
    assert ours == {kept}, left
    # Nor are the folders of Jupyter's kernels, which pip leaves, empty, if it made them.
    shared = environment.prefix / "share/jupyter/kernels"
    assert {path for path in left if path.is_relative_to(environment.prefix)} <= {shared, *shared.parents}, left


def test_user(wheel, root, tmp_path):
    """pip install --user puts program and kernelspec where they find each other."""
    environment = Environment(tmp_path, user=True)
    before = environment.files()
    environment.pip("install", "--user", "--break-system-packages", "--no-deps", wheel)
    command = environment.home / ".local/bin/evenbed"
    assert history(environment, command).is_relative_to(environment.home)
    run_notebook(environment, command, root, tmp_path)
    environment.pip("uninstall", "--yes", "--break-system-packages", "evenbed")
    assert not command.exists()
    assert not [path for path in environment.files() - before if "evenbed" in path.as_posix() and "state" not in path.parts]


def test_system_wide(wheel, root, tmp_path):
    """A prefix such as /usr/local, of another Python than the one that runs Jupyter."""
    environment = Environment(tmp_path)
    prefix = tmp_path / "usr/local"
    environment.pip("install", "--prefix", prefix, "--no-deps", wheel)
    environment.variables["JUPYTER_PATH"] = str(prefix / "share/jupyter")
    command = prefix / "bin/evenbed"
    assert history(environment, command).is_relative_to(environment.home)
    run_notebook(environment, command, root, tmp_path)
