"""Every notebook runs from its first cell to its last."""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest

NOTEBOOKS = Path(__file__).parent.parent / "notebooks"


@pytest.mark.parametrize("path", sorted(NOTEBOOKS.glob("*.ipynb")), ids=lambda path: path.stem)
def test_the_notebook_runs(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MPLBACKEND", "agg")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # those of the notebook machinery are not ours
        import nbformat
        from nbclient import NotebookClient

        notebook = nbformat.read(path, as_version=4)
        assert any(cell.cell_type == "code" for cell in notebook.cells)
        assert all(not cell.get("outputs") for cell in notebook.cells), "clear the outputs before committing"
        NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(path.parent)}}).execute()


def test_there_is_a_notebook() -> None:
    assert list(NOTEBOOKS.glob("*.ipynb"))
