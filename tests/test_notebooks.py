"""The notebooks run on the demo archive as they stand, and are kept without outputs."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
# What the run of each must show: the demo's truth, found again.
SHOWN = {
    "1_reviewing_a_session": ["'keepers': 171", "image/png", "True"],
    "2_tuning_an_aperture": ["lost_to_defocus", "{'bright': 11.0, 'medium': 8.0, 'dim': 8.0}"],
    "3_measuring_the_tolerance": ["tolerance 0.048 mm", "truth 0.045 mm; inside the interval: True"],
}


def read(path: Path):
    nbformat = pytest.importorskip("nbformat", reason="nbformat is not installed: notebooks are not read")
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    return notebook


def test_there_are_three() -> None:
    assert [path.stem for path in NOTEBOOKS] == sorted(SHOWN)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_kept_without_outputs_and_short(path: Path) -> None:
    cells = read(path).cells
    for cell in cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None
    lines = [line for cell in cells for line in cell.source.splitlines()]
    assert max(map(len, lines)) <= 112, "readable as text"
    assert len(lines) < 120


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_runs_on_the_demo(path: Path) -> None:
    nbclient = pytest.importorskip("nbclient", reason="nbclient is not installed: notebooks are not run")
    pytest.importorskip("ipykernel", reason="ipykernel is not installed: notebooks are not run")
    notebook = read(path)
    place = {"metadata": {"path": str(path.parent)}}
    # The native kernel is the interpreter that runs this test.
    client = nbclient.NotebookClient(notebook, kernel_name="python3", timeout=120, resources=place)
    client.execute(env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "default"})
    said = str([cell.outputs for cell in notebook.cells if cell.cell_type == "code"])
    for wanted in SHOWN[path.stem]:
        assert wanted in said
    assert "False" not in said or path.stem != "1_reviewing_a_session", "every interval holds the truth"
    assert "Warning" not in said
