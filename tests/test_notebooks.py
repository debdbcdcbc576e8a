"""The notebooks run on the demo as they stand, and the outputs stored in them are those of that run."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
# What the run of each must show.
SHOWN = {
    "1_reviewing_a_walk": ["change to f/8, ring on 3 m", "image/png", "7 of 7 intervals hold the truth"],
    "2_tuning_an_aperture": ["old 35 mm: sharp at", "sharp from", "image/png"],
}


def read(path: Path):
    nbformat = pytest.importorskip("nbformat", reason="nbformat is not installed: notebooks are not read")
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    return notebook


def texts(notebook) -> list[str]:
    """Outputs as text, cell by cell; pictures hang on the fonts that are there, so only that they are."""
    said = []
    for cell in notebook.cells:
        if cell.cell_type != "code":
            continue
        parts = []
        for output in cell.outputs:
            data = output.get("data", {})
            parts.append(output.get("text", "") or data.get("text/plain", ""))
            parts += [kind for kind in data if kind.startswith("image/")]
        said.append(re.sub(r"0x[0-9a-f]+|size \d+x\d+", "", " ".join(parts)))
    return said


def test_there_are_two() -> None:
    assert [path.stem for path in NOTEBOOKS] == sorted(SHOWN)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_short_and_stored_with_outputs(path: Path) -> None:
    cells = read(path).cells
    lines = [line for cell in cells for line in cell.source.splitlines()]
    assert max(map(len, lines)) <= 116, "readable as text"
    assert len(lines) < 130
    assert path.stat().st_size < 600_000
    assert str(Path.home()) not in path.read_text("utf-8")
    said = " ".join(texts(read(path)))
    for wanted in SHOWN[path.stem]:
        assert wanted in said


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_runs_on_the_demo_and_says_the_same(path: Path, tmp_path: Path) -> None:
    nbclient = pytest.importorskip("nbclient", reason="nbclient is not installed: notebooks are not run")
    pytest.importorskip("ipykernel", reason="ipykernel is not installed: notebooks are not run")
    notebook, stored = read(path), texts(read(path))
    # Beside a copy of the demo's place, so that pictures are drawn there and not here.
    (tmp_path / "notebooks" / "pictures").mkdir(parents=True)
    (tmp_path / "demo_metadata").symlink_to(ROOT / "demo_metadata")
    place = {"metadata": {"path": str(tmp_path / "notebooks")}}
    # The native kernel is the interpreter that runs this test.
    client = nbclient.NotebookClient(notebook, kernel_name="python3", timeout=120, resources=place)
    client.execute(env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "default"})
    said = texts(notebook)
    assert said == stored
    assert "Warning" not in " ".join(said)
