"""Clients that people use: jupyter console, nbconvert, nbval and papermill."""
import os
import pathlib
import re
import subprocess
import sys

import nbformat
import papermill
import pexpect
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
FIRST = NOTEBOOKS[0]


def jupyter(*arguments, **options):
    """Run a program of the environment and return what it prints."""
    done = subprocess.run([sys.executable, "-m", *map(str, arguments)], capture_output=True, text=True, timeout=300, **options)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_nbval():
    """A second program finds every stored output again, byte for byte."""
    text = jupyter("pytest", "--nbval", "-q", "-rA", "-c", os.devnull, "-p", "no:cacheprovider", *NOTEBOOKS, cwd=ROOT)
    cells = sum(cell.cell_type == "code" for path in NOTEBOOKS for cell in nbformat.read(path, as_version=4).cells)
    assert re.search(rf"^{cells} passed\b(?!.*skipped)", text, re.M), text


def test_papermill(tmp_path):
    """papermill executes our first notebook."""
    ran = papermill.execute_notebook(FIRST, tmp_path / "ran.ipynb", cwd=FIRST.parent, progress_bar=False)
    assert ran.metadata.papermill.exception is None
    stored = nbformat.read(FIRST, as_version=4)
    for cell, expected in zip(ran.cells, stored.cells, strict=True):
        if cell.cell_type == "code":
            assert [output.output_type for output in cell.outputs] == [output.output_type for output in expected.outputs]


def test_parameters(evenbed, tmp_path):
    """papermill has no words for Go parameters; `evenbed run -p` puts them where papermill would."""
    book = nbformat.v4.new_notebook(metadata={"kernelspec": {"name": "evenbed", "display_name": "Go (evenbed)", "language": "go"}})
    book.cells = [nbformat.v4.new_code_cell("height := 18.0", metadata={"tags": ["parameters"]}),
                  nbformat.v4.new_code_cell("2 * height")]
    nbformat.write(book, tmp_path / "book.ipynb")
    with pytest.raises(papermill.exceptions.PapermillException, match="No parameter translator"):
        papermill.execute_notebook(tmp_path / "book.ipynb", tmp_path / "ran.ipynb", {"height": 20.0}, progress_bar=False)
    evenbed("run", "-p", "height=20.0", "--out", tmp_path / "out", tmp_path / "book.ipynb")
    ran = nbformat.read(tmp_path / "out" / "book.ipynb", as_version=4)
    assert [cell.metadata.get("tags") for cell in ran.cells] == [["parameters"], ["injected-parameters"], None]
    assert ran.cells[2].outputs[0].data["text/plain"] == "40"


@pytest.mark.parametrize("form, signs", [
    ("html", [r"<svg|image/svg\+xml", r"<table", r"plates per metre"]),
    ("markdown", [r"!\[[^\]]*\]\([^)]+\.svg\)", r"plates per metre"]),
])
def test_nbconvert(form, signs, tmp_path):
    """nbconvert runs our first notebook and makes pages of it, tables and pictures among them."""
    jupyter("nbconvert", "--execute", "--to", form, "--output-dir", tmp_path, "--output", "page", FIRST, cwd=FIRST.parent)
    page, = tmp_path.glob("page.*")
    text = page.read_text()
    for sign in signs:
        assert re.search(sign, text, re.I), f"no {sign} in the page"
    assert "Traceback" not in text and "jp-RenderedText jp-mod-error" not in text


@pytest.fixture
def console(own_kernel):
    """A terminal in which jupyter console runs with our kernel."""
    child = pexpect.spawn(sys.executable, ["-m", "jupyter_console", "--kernel", "evenbed",
                                           "--ZMQTerminalInteractiveShell.highlighting_style=bw"],
                          env={**os.environ, "TERM": "xterm", "PROMPT_TOOLKIT_NO_CPR": "1"},
                          dimensions=(40, 120), encoding="utf-8", timeout=60)
    yield child
    child.close(force=True)


ESCAPES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]|\x1b[()][A-Z0-9]|\x1b[=>]")


class Screen:
    """What a terminal has shown, without its commands."""

    def __init__(self, child):
        self.child, self.text = child, ""

    def until(self, pattern):
        """Read until the text matches; forget what came before its end."""
        regex = re.compile(pattern, re.S)
        while not (found := regex.search(self.text)):
            try:
                self.text = ESCAPES.sub("", self.text + self.child.read_nonblocking(4096))
            except (pexpect.TIMEOUT, pexpect.EOF):
                raise AssertionError(f"no {pattern!r} in {self.text[-2000:]!r}") from None
        self.text = self.text[found.end():]
        return found


def test_console(console):
    """A line, several lines, a completion, an interrupt and a line of the history."""
    screen = Screen(console)
    screen.until(r"In \[1\]: ")
    console.send("kept := 6 * 7\r")
    screen.until(r"In \[2\]: ")
    console.send("kept\r")
    screen.until(r"Out\[2\]: 42")
    screen.until(r"In \[3\]: ")

    console.send("func twice(x int) int {\r")  # not complete: the console asks for more
    screen.until(r"\.\.\.: ")
    console.send("return 2 * x\r")
    console.send("}\r\r")
    screen.until(r"In \[4\]: ")
    console.send("twice(kept)\r")
    screen.until(r"Out\[4\]: 84")
    screen.until(r"In \[5\]: ")

    console.send("twi\t")
    screen.until(r"twice")
    console.send("(2)\r")
    screen.until(r"Out\[5\]: 4\D")
    screen.until(r"In \[6\]: ")

    console.send("for {}\r")
    screen.until(r"for \{\}")
    with pytest.raises(AssertionError):
        console.timeout = 1
        screen.until(r"In \[7\]: ")
    console.timeout = 60
    console.sendintr()
    screen.until(r"[Ii]nterrupt")
    screen.until(r"In \[7\]: ")

    console.send("\x1b[A")  # the arrow that goes back in the history
    console.send("\x1b[A\r")
    screen.until(r"Out\[7\]: 4\D")
