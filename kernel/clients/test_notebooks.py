"""A foreign program runs our notebooks and sees what `evenbed run` writes."""
import pathlib

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((pathlib.Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb"))
assert NOTEBOOKS, "no notebooks"


def shown(notebook):
    """Return, for each code cell, what it shows: streams joined, metadata left out."""
    cells = []
    for cell in notebook.cells:
        if cell.cell_type != "code":
            continue
        outputs = []
        for output in cell.outputs:
            if output.output_type == "stream":
                if outputs and outputs[-1][:2] == ("stream", output.name):
                    outputs[-1] = ("stream", output.name, outputs[-1][2] + output.text)
                else:
                    outputs.append(("stream", output.name, output.text))
            else:
                outputs.append((output.output_type, dict(output.data)))
        cells.append((cell.source, outputs))
    return cells


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_same_outputs(path, evenbed, tmp_path):
    """nbclient shows what `evenbed run` shows, text, tables and pictures byte for byte."""
    ours = nbformat.read(path, as_version=4)
    for cell in ours.cells:
        if cell.cell_type == "code":
            cell.outputs = []
    NotebookClient(ours, kernel_name="evenbed", timeout=120,
                   resources={"metadata": {"path": str(path.parent)}}).execute()

    evenbed("run", "--out", tmp_path, path)
    theirs = nbformat.read(tmp_path / path.name, as_version=4)
    nbformat.validate(theirs)

    text = (tmp_path / path.name).read_bytes().decode()
    assert nbformat.writes(theirs, version=nbformat.NO_CONVERT) + "\n" == text, "nbformat would write it in another way"
    assert text == path.read_bytes().decode(), "running the notebook changes it"

    theirs, ours = shown(theirs), shown(ours)
    assert sum(len(outputs) for _, outputs in theirs) > 0, "the notebook shows nothing"
    assert len(theirs) == len(ours)
    for number, (run, client) in enumerate(zip(theirs, ours), 1):
        assert run == client, f"code cell {number}"
