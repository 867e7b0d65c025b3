"""Stock gophernotes with our packages runs our notebooks, and we run its examples."""
import json
import pathlib
import re
import shutil
import subprocess
import sys

import nbformat
import pytest
from nbclient import NotebookClient

ROOT = pathlib.Path(__file__).resolve().parents[2]

# Notebooks that need more than stock gophernotes has, each with the reason.
OURS_ALONE = {}
NOTEBOOKS = sorted(path for path in (ROOT / "notebooks").glob("*.ipynb") if path.stem not in OURS_ALONE)


@pytest.fixture(scope="module")
def gophernotes():
    """Install what `make gophernotes` made as a kernel, for as long as the tests of this file last.

    It is told where the Go toolchain is. The untouched kernel dies of that at its start.
    """
    goroot = subprocess.run(["go", "env", "GOROOT"], check=True, capture_output=True, text=True).stdout.strip()
    folder = pathlib.Path(sys.prefix) / "share" / "jupyter" / "kernels" / "gophernotes"
    folder.mkdir(parents=True, exist_ok=True)
    spec = {"argv": [str(ROOT / "bin" / "gophernotes"), "{connection_file}"], "display_name": "Go (gophernotes)", "language": "go",
            "env": {"GOROOT": goroot}}
    (folder / "kernel.json").write_text(json.dumps(spec))
    yield folder.name
    shutil.rmtree(folder)


def run(path, kernel, folder, keep=lambda cell: True):
    """Return the code cells of a notebook before and after a run; a cell that fails is an error."""
    stored = nbformat.read(path, as_version=4)
    stored.cells = [cell for cell in stored.cells if cell.cell_type == "code" and keep(cell)]
    ran = nbformat.from_dict(stored)
    for cell in ran.cells:
        cell.outputs = []
    NotebookClient(ran, kernel_name=kernel, timeout=120, resources={"metadata": {"path": str(folder)}}).execute()
    return stored.cells, ran.cells


def values(cell):
    """Return the MIME bundles of a cell."""
    return [dict(output.data) for output in cell.outputs if output.output_type in ("execute_result", "display_data")]


def printed(cell):
    """Return the text that a cell wrote."""
    return "".join(output.text for output in cell.outputs if output.output_type == "stream")


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook(path, gophernotes):
    """Our notebooks show on gophernotes what is stored, in each form that it has.

    It has fewer: no plain text beside a richer form, no table of a data frame.
    It shows the results of fmt.Println, too, and a missing error as <nil>.
    """
    stored, ran = run(path, gophernotes, path.parent)
    compared = 0
    for number, (ours, theirs) in enumerate(zip(stored, ran), 1):
        assert printed(theirs) == printed(ours), f"code cell {number}"
        assert len(values(theirs)) >= len(values(ours)), f"code cell {number} shows less"
        for own, other in zip(values(ours), values(theirs)):
            common = (own.keys() & other.keys()) - {"text/plain"}
            for kind in common:
                assert own[kind] == other[kind], f"code cell {number}, {kind}"
            assert common or "text/plain" in other, f"code cell {number} shows no form that is stored"
            compared += len(common)
    assert compared > 0, "no output was compared"


@pytest.fixture(scope="module")
def examples():
    """Return the folder of gophernotes' own examples."""
    text = subprocess.run(["go", "list", "-m", "-f", "{{.Dir}}", "github.com/gopherdata/gophernotes"],
                          cwd=ROOT, check=True, capture_output=True, text=True).stdout
    return pathlib.Path(text.strip()) / "examples"


def test_matrix_operations(examples, tmp_path):
    """Its matrices print on evenbed what they printed on gophernotes."""
    stored, ran = run(examples / "Matrix_Operations.ipynb", "evenbed", tmp_path)
    compared = 0
    for ours, theirs in zip(ran, stored):
        # gophernotes stored the text as a value, with what Printf returns behind it.
        text = "".join(bundle["text/plain"] for bundle in values(theirs))
        if text:
            assert [line.rstrip() for line in printed(ours).splitlines()] == \
                [line.rstrip() for line in re.sub(r"\d+ <nil>\n?$", "", text).splitlines()]
            compared += 1
    assert compared == 2


def test_worker_pools(examples, tmp_path):
    """Three goroutines of an earlier cell share out nine jobs, and write while a later cell runs."""
    _, ran = run(examples / "Worker_Pools.ipynb", "evenbed", tmp_path)
    jobs = re.findall(r"^worker ([123]) processing job (\d)$", "".join(map(printed, ran)), re.M)
    assert sorted(int(job) for _, job in jobs) == list(range(1, 10))
    assert {worker for worker, _ in jobs} == {"1", "2", "3"}


def test_display(examples, tmp_path):
    """The cells of the display package show what they showed on gophernotes.

    Left out: cells that only quote declarations, cells that fetch from the
    network, and the plot, which assigns the one result that today's plot.New
    has to two variables.
    """
    def works_here(cell):
        quoted = "in package \"display\"" in cell.source or cell.source.startswith("/**")
        return not quoted and "http.Get" not in cell.source and "resp" not in cell.source and "plot.New()" not in cell.source

    stored, ran = run(examples / "Display.ipynb", "evenbed", tmp_path, works_here)
    assert len(ran) == 5
    for ours, theirs in zip(ran, stored):
        assert len(values(ours)) == len(values(theirs)) > 0, ours.source
        for own, other in zip(values(ours), values(theirs)):
            for kind in other.keys() - {"text/plain"}:
                assert own[kind] == other[kind], ours.source
