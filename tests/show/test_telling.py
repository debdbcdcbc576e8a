"""Frames to look at: chosen by what they tell, linked, and shown without metadata where asked."""

from __future__ import annotations

import base64
import io
import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pandas as pd
import pytest
from PIL import Image

from auditor.audit import Audit, run_audit
from auditor.settings import Request
from auditor.show.report import build_report
from auditor.show.telling import small_picture, telling_frames


def test_chosen_frames_went_against_their_zone(walked: Audit) -> None:
    chosen = telling_frames(walked.table)
    assert 0 < len(chosen) <= 10
    outside = chosen[chosen["why"] == "kept outside"]
    assert (outside["counted_as"] == "keeper").all()
    assert (~outside["in_zone"].astype(bool)).all()
    assert outside["defocus_mm"].is_monotonic_decreasing
    every = walked.table[(walked.table["counted_as"] == "keeper") & (walked.table["in_zone"] == False)]  # noqa: E712
    assert outside["defocus_mm"].iloc[0] == pytest.approx(every["defocus_mm"].max())
    inside = chosen[chosen["why"] == "not kept inside"]
    assert (inside["counted_as"] == "not kept").all()
    assert inside["in_zone"].astype(bool).all()
    assert not chosen["burst"].duplicated().any()


def test_frames_left_out_or_without_distance_tell_nothing(
    audit_of: Callable[..., Audit], frames_of: Callable[..., pd.DataFrame]
) -> None:
    assert len(telling_frames(audit_of(frames_of(40, marks=False)).table)) == 0
    assert len(telling_frames(audit_of(frames_of(40, distances=False)).table)) == 0


@pytest.fixture
def one_frame(photo: Callable[..., Path], tmp_path: Path) -> Audit:
    """A real file in a folder with a hostile name: kept, though far outside the zone."""
    folder = tmp_path / "50% & #1 <b>"
    photo(
        folder / "P1.jpg", datetime(2031, 4, 5, 14), lens="35 mm", focal_length_mm=35.0, f_number=4.0,
        distance=(5, 1), rating=4, size=(800, 600),
    )  # fmt: skip
    (folder / "notes.csv").write_text("file,subject_distance\nP1,1m\n", encoding="utf-8")
    return run_audit(Request((folder,), workers=1))


def test_links_are_relative_and_quoted_and_pictures_come_only_when_asked(
    one_frame: Audit, tmp_path: Path
) -> None:
    page = build_report(one_frame, {}, tmp_path / "out")
    assert 'href="../50%25%20%26%20%231%20%3Cb%3E/P1.jpg"' in page
    assert "<img" not in page
    assert "Kept, though the subject stood outside" in page
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
