"""The notebooks run from top to bottom, and are kept without what they printed."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


def test_they_are_there():
    assert [path.name[:2] for path in NOTEBOOKS] == ["01", "02", "03", "04", "05", "06"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # of the kernel's own packages
def test_notebook_runs(path, tmp_path):
    notebook = nbformat.read(path, as_version=4)
    assert not any(cell.get("outputs") for cell in notebook.cells)
    assert notebook.cells[-1].source.startswith("## What was learnt")
    options = {"timeout": 300, "kernel_name": "python3"}
    NotebookClient(notebook, resources={"metadata": {"path": str(tmp_path)}}, **options).execute()
    drawing = [cell for cell in notebook.cells if "plot(" in cell.source or "plots." in cell.source]
    assert drawing
    for cell in drawing:
        assert any("image/png" in output.get("data", {}) for output in cell.outputs), cell.source
