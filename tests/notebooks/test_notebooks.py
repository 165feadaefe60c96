"""Every notebook runs from end to end, in a fresh kernel, without output kept in the file."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def test_there_are_notebooks() -> None:
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
@pytest.mark.filterwarnings("ignore")
def test_a_notebook_runs(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=120, resources={"metadata": {"path": str(ROOT)}}).execute()
    pictures = [
        output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs
        if "image/png" in output.get("data", {})
    ]  # fmt: skip
    assert pictures, "a notebook shows at least one plot"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_kept_without_output(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    assert not any(cell.get("outputs") for cell in notebook.cells if cell.cell_type == "code")
