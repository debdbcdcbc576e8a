"""What a frame table states beyond the facts of files, and for whom each column speaks."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.frames import with_columns
from auditor.intake.sources import SessionFiles, from_table
from auditor.intake.statements.frame_table import claim_table, counts_fit_marks


def stated(**columns):
    """Claims of a table as quantity and source to values by row."""
    n = max(len(values) for values in columns.values())
    table = with_columns(pd.DataFrame({"file": [f"P{i}.jpg" for i in range(n)], **columns}))
    claims = claim_table(table, "frames.csv", -1.0).stated
    assert {(claim.place, claim.depth) for claim in claims} <= {("frames.csv", -1.0)}
    return {
        (claim.quantity, claim.source): dict(zip(claim.rows.tolist(), claim.typed.tolist(), strict=True))
        for claim in claims
    }


def test_a_distance_speaks_for_its_source_and_without_one_for_a_note():
    claims = stated(
        subject_distance_m=[1.0, 2.0, 3.0, None, 5.0],
        subject_distance_source=["exif", None, "picture", "notes", "unknown"],
        other_subjects_m=["7", "4|-1|0|x|6", "8", "9", None],
    )
    assert claims == {
        ("subject_distance", "exif"): {0: 1.0},
        ("subject_distance", "notes"): {1: 2.0},
        ("subject_distance", "picture"): {2: 3.0},
        ("other_subjects", "notes"): {1: (4.0, 6.0)},  # of a note alone, and only distances
    }


def test_a_recorded_focus_distance_is_the_files_and_a_stated_one_is_peoples():
    claims = stated(
        focus_distance_m=[1.0, 2.0, 3.0, 4.0], focus_distance_source=["exif", "notes", "session", None]
    )
    assert claims == {("focus_distance", "notes"): {1: 2.0}, ("focus_distance", "session"): {2: 3.0}}


def test_errors_of_distances_come_along():
    columns = {"file": ["a", "b"], "subject_distance_m": [1.0, 2.0], "subject_distance_rel_sd": [0.1, None]}
    table = with_columns(pd.DataFrame(columns))
    (claim,) = claim_table(table, "", 0).stated
    assert claim.rel_sd.tolist() == pytest.approx([0.1, np.nan], nan_ok=True)


def test_sensors_marks_and_presets_speak_for_their_sources():
    claims = stated(
        sensor_width_mm=[36.0, 24.0, 24.0, 36.0],
        sensor_height_mm=[24.0, 16.0, 16.0, 24.0],
        sensor_source=["session", "exif", None, "assumed"],
        keeper=["yes", "no", None, "yes"],
        mark_source=["sidecar", None, "notes", "selects"],
        stated_preset=["a", "b", None, "a"],
        stated_preset_source=["notes", "session", "notes", None],
    )
    sensors = {row: (s.width_mm, s.height_mm) for row, s in claims.pop(("sensor", "exif")).items()}
    assert sensors == {1: (24.0, 16.0), 2: (24.0, 16.0)}
    assert [s.width_mm for s in claims.pop(("sensor", "session")).values()] == [36.0]
    presets = {
        source: {row: p.name for row, p in claims.pop(("preset", source)).items()}
        for source in ("notes", "session")
    }
    assert presets == {"notes": {0: "a"}, "session": {1: "b", 3: "a"}}
    assert claims == {
        ("keeper", "sidecar"): {0: "yes"},
        ("keeper", "notes"): {1: "no"},
        ("keeper", "selects"): {3: "yes"},
    }


@pytest.mark.parametrize(
    ("keeper", "counted", "fit"),
    [
        ("yes", "keeper", True), ("yes", "left out", True), ("yes", "not kept", False),
        ("no", "not kept", True),
        ("no", "keeper", False), ("no", "left out", True), (None, "keeper", True), (None, "not kept", True),
        ("yes", None, False), (None, "something", False),
    ],
)  # fmt: skip
def test_what_frames_counted_as_holds_only_where_no_mark_forbids_it(keeper, counted, fit):
    rows = {"file": ["a", "b"], "keeper": [keeper, None], "counted_as": [counted, "left out"]}
    table = with_columns(pd.DataFrame(rows | {"mark_source": ["notes" if keeper else None, None]}))
    assert counts_fit_marks(table) == fit
    if keeper:
        assert not counts_fit_marks(table.assign(mark_source=None))
    told = [claim for claim in claim_table(table, "", 0).stated if claim.quantity == "counted_as"]
    assert bool(told) == fit


def test_a_preset_that_was_only_grouped_is_no_statement(tmp_path):
    path = tmp_path / "frames.csv"
    path.write_text(
        "file,preset,preset_source,stated_preset,focus_distance_m,focus_distance_source\n"
        "walk/P1.jpg,arcade,session,,2,session\nwalk/P2.jpg,28 mm f/8,grouped,,3,xmp\n"
        "P3.jpg,gate,notes,corner,4,\n"
    )
    sources = from_table(path, SessionFiles(None))
    presets = {
        (claim.source, row): preset.name
        for claim in sources.stated.stated
        if claim.quantity == "preset"
        for row, preset in zip(claim.rows.tolist(), claim.typed, strict=True)
    }
    assert presets == {("session", 0): "arcade", ("notes", 2): "corner"}
    assert sources.paths == [
        str(tmp_path / "walk" / "P1.jpg"),
        str(tmp_path / "walk" / "P2.jpg"),
        str(tmp_path / "P3.jpg"),
    ]
    facts = sources.facts
    assert facts["recorded_distance_m"].tolist() == pytest.approx([np.nan, 3.0, 4.0], nan_ok=True)
    assert facts["recorded_distance_by"].tolist()[1:] == ["xmp", "exif"]


def test_files_of_a_frame_table_are_counted_without_sidecars(tmp_path):
    path = tmp_path / "frames.csv"
    path.write_text("file,files\na.dng,a.dng|a.jpg|a.xmp\nb.jpg,b.jpg|B.XMP\nc.jpg,\nd.xmp.jpg,d.xmp.jpg\n")
    sources = from_table(path, SessionFiles(None))
    assert (sources.found, sources.merged, sources.unreadable) == (5, 1, 0)
    assert sources.facts["files"].tolist()[2] == "c.jpg"
