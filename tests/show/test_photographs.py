"""Frames to look at: linked, and shown small and without metadata where asked."""

from __future__ import annotations

import base64
import io
import os
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pandas as pd
import pytest
from auditor.show.photographs import small_picture
from PIL import Image

from auditor.journey import Audit, run_audit
from auditor.settings import Request
from auditor.show.report import build_report
from tests.intake.photofile.builders import png


@pytest.fixture
def one_frame(photo: Callable[..., Path], tmp_path: Path) -> Audit:
    """A real file in a folder with a hostile name: kept, though far outside the zone."""
    folder = tmp_path / "50% & #1 <b>"
    photo(
        folder / "P1.jpg", datetime(2031, 4, 5, 14), lens="35 mm", focal_length_mm=35.0, f_number=4.0,
        distance=(5, 1), rating=4, size=(800, 600),
    )  # fmt: skip
    (folder / "notes.csv").write_text("file,subject_distance\nP1,1m\n", encoding="utf-8")
    audit = run_audit(Request((folder,), workers=1))
    chosen = {"file": "P1.jpg", "why": "kept_though_blurred", "chance": 0.1}
    carrying = replace(
        audit.tolerance, blur_mm=0.04, low=0.03, high=0.05, flags=()
    )  # one frame fits no curve
    return replace(audit, telling=pd.DataFrame([chosen]), tolerance=carrying)


def test_links_are_relative_and_quoted_and_pictures_come_only_when_asked(
    one_frame: Audit, tmp_path: Path
) -> None:
    page = build_report(one_frame, {}, tmp_path / "out")
    assert 'href="../50%25%20%26%20%231%20%3Cb%3E/P1.jpg"' in page
    assert "<img" not in page
    assert '<img src="data:image/jpeg;base64,' in build_report(one_frame, {}, tmp_path / "out", pictures=True)
    assert "href" not in build_report(one_frame, {}).split("Frames to look at")[1].split("</ul>")[0]


def test_small_pictures_are_small_upright_and_bare(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # Exif 2.32: row 0 is the visual right-hand side, so turn a quarter
    exif[0x010E] = "a secret place"
    Image.new("RGB", (1200, 800), "red").save(tmp_path / "a.jpg", exif=exif, comment="secret")
    before = (tmp_path / "a.jpg").read_bytes(), os.stat(tmp_path / "a.jpg").st_mtime_ns
    address = small_picture(tmp_path / "a.jpg")
    assert address is not None
    data = base64.b64decode(address.partition(",")[2])
    picture = Image.open(io.BytesIO(data))
    assert picture.size == (240, 360)
    assert not picture.getexif()
    assert b"secret" not in data
    assert len(data) < 20_000
    assert before == ((tmp_path / "a.jpg").read_bytes(), os.stat(tmp_path / "a.jpg").st_mtime_ns)


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\xff\xd8\xff\xe0 cut"])
def test_what_cannot_be_read_has_no_picture(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.jpg").write_bytes(content)
    assert small_picture(tmp_path / "a.jpg") is None
    assert small_picture(tmp_path / "missing.jpg") is None


# PostScript, Windows metafile, X pixmap, FITS: kinds that Pillow opens by their content, some with a program.
OTHER_KINDS = [
    b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 100 100\nshowpage\n",
    b"\xd7\xcd\xc6\x9a" + bytes(40),
    b'/* XPM */\nstatic char *x[] = {"9 9 1 1", "a c red"};',
    b"SIMPLE  =                    T" + bytes(3000),
]


def test_no_picture_stops_the_report_or_starts_a_program(
    one_frame: Audit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = Path(one_frame.paths[0])
    monkeypatch.setattr("subprocess.Popen", lambda *_, **__: pytest.fail("a program was started"))
    for content in [*OTHER_KINDS, png(size=(60_000, 60_000)), "pipe", "device"]:
        path.unlink()
        if content == "pipe":
            os.mkfifo(path)
        elif content == "device":
            path.symlink_to("/dev/zero")
        else:
            path.write_bytes(content)
        assert small_picture(path) is None
    assert "<img" not in build_report(one_frame, {}, tmp_path / "out", pictures=True)


def test_one_function_opens_pictures() -> None:
    package = Path(__file__).parents[2] / "auditor"
    calls = [
        path.name for path in package.rglob("*.py") if re.search(r"Image\.open\(", path.read_text("utf-8"))
    ]
    assert calls == ["previews.py"]
