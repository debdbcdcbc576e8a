"""Real camera files: every key field against what other readers found (the manifest says which ones).

The folder of samples lies beside the checkout; without it these tests are skipped.
"""

from __future__ import annotations

import csv
import logging
import math
import warnings
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pyexiv2
import pytest
from PIL import Image

from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.records import FileRecord
from auditor.intake.photofile.xmp import read_sidecar

SAMPLES = Path(__file__).resolve().parents[3] / "shared" / "exif-samples"
MANIFEST = SAMPLES / "MANIFEST.csv"


def manifest() -> list[dict[str, str]]:
    if not MANIFEST.is_file():
        return []
    with MANIFEST.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


ROWS = manifest()
PICTURES = [row for row in ROWS if not row["file"].endswith(".xmp")]
SIDECARS = [row for row in ROWS if row["file"].endswith(".xmp")]
if not ROWS:
    pytest.skip("the folder of real camera files is not beside this checkout", allow_module_level=True)

# Where our reader means something else than the plain value, and why.
BEYOND_THE_MANIFEST = {
    ("dev06.jpg", "focus_distance_m"): math.inf,  # 99.99 m is the end of that camera's scale
    ("dev08.jpg", "f_number"): 3.4,  # FNumber absent, ApertureValue 3.5055
    ("dev20.jpg", "f_number"): 4.0,  # FNumber absent, ApertureValue 4
    ("dev38.jpg", "focal_length_mm"): 4.57,  # the manifest has no reader that opens this damaged file
}


def by_file(row: dict[str, str]) -> str:
    return row["file"]


@pytest.fixture(scope="module")
def records() -> dict[str, FileRecord]:
    return {row["file"]: read_file(SAMPLES / row["file"]) for row in PICTURES}


def fraction(text: str) -> float:
    """A rational of the manifest; unknown where nothing, n/0 or 0 stands."""
    numerator, _, denominator = text.partition("/")
    if not numerator or float(denominator or 1) == 0 or float(numerator) == 0:
        return math.nan
    return float(numerator) / float(denominator or 1)


def distance(row: dict[str, str]) -> float:
    meaning = row["subject_distance_meaning"]
    if meaning == "infinity":
        return math.inf
    return math.nan if meaning in ("absent", "unknown", "") else float(meaning.removesuffix(" m"))


def moment(row: dict[str, str]) -> datetime | None:
    text = row["datetime_original"]
    if not text:
        return None
    when = datetime.strptime(text, "%Y:%m:%d %H:%M:%S")
    subseconds = row["subsec_original"]
    return when.replace(microsecond=int(subseconds.ljust(6, "0")[:6])) if subseconds else when


def plane_px_per_mm(row: dict[str, str]) -> float:
    mm = {"2": 25.4, "": 25.4, "3": 10.0, "4": 1.0}[row["focal_plane_unit"]]
    return fraction(row["focal_plane_x_res"]) / mm


@pytest.mark.parametrize("row", PICTURES, ids=by_file)
def test_every_key_field(row: dict[str, str], records: dict[str, FileRecord]) -> None:
    record = records[row["file"]]
    assert record.error is None
    expected: dict[str, Any] = {
        "focal_length_mm": fraction(row["focal_length"]),
        "f_number": fraction(row["f_number"]),
        "exposure_time_s": fraction(row["exposure_time"]),
        "iso": fraction(row["iso"]),
        "focal_length_35mm": fraction(row["focal_length_35mm"]),
        "focus_distance_m": distance(row),
        "focal_plane_px_per_mm": plane_px_per_mm(row),
        "rating": float(row["exif_rating"]) if row["exif_rating"] else math.nan,
    }
    for name, value in expected.items():
        value = BEYOND_THE_MANIFEST.get((row["file"], name), value)
        assert getattr(record, name) == pytest.approx(value, rel=1e-12, nan_ok=True), name
    assert record.camera == (row["model"].strip() or None)
    assert record.lens == (row["lens_model"].strip() or None)
    assert record.captured_at == moment(row)
    assert record.has_subseconds == bool(row["subsec_original"].strip("0"))
    orientation = row["orientation"]
    assert record.orientation == (int(orientation) if orientation not in ("", "0") else 1)
    sizes = (row["exif_width"], row["exif_height"])
    assert (record.exif_width_px, record.exif_height_px) == tuple(int(size or 0) for size in sizes)
    if row["stored_width"]:
        sizes = (row["stored_width"], row["stored_height"])
        assert (record.stored_width_px, record.stored_height_px) == tuple(int(size) for size in sizes)


@pytest.mark.parametrize("row", PICTURES, ids=by_file)
def test_embedded_xmp(row: dict[str, str], records: dict[str, FileRecord]) -> None:
    check_xmp(row, records[row["file"]].xmp or FileRecord())


@pytest.mark.parametrize("row", SIDECARS, ids=by_file)
def test_sidecars(row: dict[str, str]) -> None:
    values = read_sidecar(SAMPLES / row["file"])
    check_xmp(row, values)
    for name, column in (("focal_length_mm", "focal_length"), ("f_number", "f_number"), ("iso", "iso"),
                         ("exposure_time_s", "exposure_time")):  # fmt: skip
        assert getattr(values, name) == pytest.approx(fraction(row[column]), rel=1e-12, nan_ok=True), name
    assert values.camera == (row["model"] or None)
    assert values.captured_at is not None
    assert values.captured_at.replace(microsecond=0) == moment(row)


def check_xmp(row: dict[str, str], values: FileRecord) -> None:
    rating = float(row["xmp_rating"]) if row["xmp_rating"] else math.nan
    assert values.rating == pytest.approx(rating, nan_ok=True)
    assert values.label == (row["xmp_label"] or None)
    if row["subject_distance_meaning"] == "absent":  # else the packet repeats the Exif distance
        raw = row["xmp_approx_focus_distance"]
        metres = math.inf if raw.startswith("4294967295/") else fraction(raw)
        assert values.focus_distance_m == pytest.approx(metres, rel=1e-12, nan_ok=True)


def test_the_samples_hold_what_the_table_was_made_for() -> None:
    """Were the folder changed, a test above could pass by testing nothing."""
    assert len(PICTURES) >= 40
    assert sum(bool(row["subject_distance_raw"]) for row in PICTURES) >= 10
    assert sum(bool(row["xmp_rating"]) for row in ROWS) >= 15


@pytest.fixture
def quiet() -> Iterator[None]:
    """Silences the other readers, which complain of these files."""
    pyexiv2.set_log_level(4)
    logging.getLogger("PIL").setLevel(logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


@pytest.mark.usefixtures("quiet")
@pytest.mark.parametrize("row", PICTURES, ids=by_file)
def test_same_as_exiv2_on_the_same_file(row: dict[str, str], records: dict[str, FileRecord]) -> None:
    """Ratings, labels and capture times as the Exiv2 library reads them, wherever it opens the file."""
    try:
        picture = pyexiv2.Image(str(SAMPLES / row["file"]))
        exif, packet = picture.read_exif(), picture.read_xmp()
        picture.close()
    except (RuntimeError, UnicodeDecodeError) as error:
        pytest.skip(f"Exiv2 does not read it: {error}")
    record = records[row["file"]]
    ours = record.xmp or FileRecord()
    assert ours.rating == pytest.approx(float(packet.get("Xmp.xmp.Rating", "nan")), nan_ok=True)
    assert ours.label == packet.get("Xmp.xmp.Label")
    assert record.rating == pytest.approx(float(exif.get("Exif.Image.Rating", "nan")), nan_ok=True)
    time = exif.get("Exif.Photo.DateTimeOriginal", "").strip("0: \0")
    assert bool(time) == (record.captured_at is not None)


@pytest.mark.usefixtures("quiet")
@pytest.mark.parametrize("row", PICTURES, ids=by_file)
def test_same_size_and_orientation_as_pillow(row: dict[str, str], records: dict[str, FileRecord]) -> None:
    try:
        with Image.open(SAMPLES / row["file"]) as picture:
            size, orientation = picture.size, picture.getexif().get(0x0112, 1)
    except (OSError, SyntaxError, ValueError) as error:
        pytest.skip(f"Pillow does not open it: {error}")
    record = records[row["file"]]
    if row["file"].endswith(".avif") or record.container == "tiff":
        pytest.skip("Pillow turns this picture, or shows its preview")
    assert (record.stored_width_px, record.stored_height_px) == size
    if row["orientation"]:  # else Pillow may take the one of the XMP packet for Exif
        assert record.orientation == (orientation or 1)
