"""The demo archive: made by the simulator, small, and its audit finds the truth that stands beside it."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageChops

from auditor.intake.people.facemodel import can_find_faces
from auditor.journey import run_audit
from auditor.optics.blur import defocus_mm, motion_mm
from auditor.settings import Request
from auditor.show.report import build_report
from auditor.simulate import simulate_archive, simulate_table

DEMO = Path(__file__).parents[1] / "demo_metadata"


@pytest.fixture(scope="module")
def truth():
    return tomllib.loads((DEMO / "truth.toml").read_text())


@pytest.fixture(scope="module")
def audit(demo):
    return demo


def same_picture(one: Path, other: Path) -> bool:
    """Whether two pictures hold the same metadata to the byte and, to the eye, the same pixels."""
    with Image.open(one) as a, Image.open(other) as b:
        if any(a.info.get(kind) != b.info.get(kind) for kind in ("exif", "xmp")) or a.size != b.size:
            return False
        return ImageChops.difference(a.convert("L"), b.convert("L")).getextrema()[1] <= 8


@pytest.mark.slow
def test_demo_is_made_by_the_simulator_to_the_byte(truth, tmp_path):
    """Pictures may differ in how their pixels are encoded: that is for the library that writes them."""
    simulate_archive(tmp_path / "demo", truth["seed"], truth["frames"])
    made, stored = (
        {str(p.relative_to(top)): p for p in top.rglob("*") if p.is_file()}
        for top in (tmp_path / "demo", DEMO)
    )
    assert sorted(made) == sorted(stored)
    changed = [name for name in made if made[name].read_bytes() != stored[name].read_bytes()]
    assert [n for n in changed if not n.endswith(".jpg") or not same_picture(made[n], stored[n])] == []


def test_demo_is_small_and_large_enough(audit):
    sizes = [p.stat().st_size for p in DEMO.rglob("*") if p.is_file()]
    assert sum(sizes) < 4_000_000
    assert audit.counts["frames"] >= 400
    assert len(audit.sessions) == 3
    assert audit.counts["markers"] == 6
    assert min(audit.counts[kind] for kind in ("sharp", "soft", "unsure")) > 10


def test_audit_finds_the_declared_presets_without_complaint(audit, truth):
    assert set(audit.presets["preset"]) == {preset["name"] for preset in truth["preset"]}
    assert audit.problems == []
    counts = audit.counts
    assert counts["found"] == counts["read"] + counts["unreadable"]
    assert counts["with_zone"] == counts["frames"] == counts["marked"] + counts["left_out"]
    assert 0 < counts["missing_numbers"] < 0.06 * counts["frames"]


def test_unculled_tails_are_left_out_and_selects_count_whole(audit):
    left_out = (audit.table["counted_as"] == "left out").groupby(audit.table["session"]).mean()
    assert left_out[1] > 0.1
    assert left_out[2] > 0.1
    assert left_out[3] == 0
    assert audit.sessions.set_index("session")["frame_rate"].loc[3] < 0.06  # one walk that keeps few
    assert set(audit.table["mark_source"].dropna()) == {"embedded", "sidecar", "selects"}


def test_intervals_hold_the_stated_truth(audit, truth):
    found = audit.presets.set_index("preset")
    for preset in truth["preset"]:
        row = found.loc[preset["name"]]
        assert row["frames_taken"] == preset["frames"]
        assert row["low"] <= preset["hit_rate"] <= row["high"], preset["name"]
        assert row["frame_low"] <= preset["frame_rate"] <= row["frame_high"], preset["name"]
        assert row["focus_distance_m"] == pytest.approx(preset["focus_distance_m"], rel=0.1)


def test_the_eye_is_found_again(audit, truth):
    sharp = audit.tolerance.sharp
    assert sharp.count > 100
    assert sharp.low <= truth["sharp"]["tolerance_mm"] <= sharp.high
    keep = audit.tolerance.keep
    assert keep.low <= truth["sharp"]["tolerance_mm"] * truth["keeping"]["forgives"] <= keep.high


def test_what_is_advised_is_truly_sharper(audit, truth):
    """On the people who come along, by the optics alone: thin lens, tolerance and walk as they truly are."""
    told = next(one for one in audit.decisions.lenses if one.lens == "old 35 mm")
    assert told.decision.kind == "change"
    rng = np.random.default_rng(5)
    people = truth["people"]
    met = people["distance_median_m"] * np.exp(people["distance_log_sd"] * rng.standard_normal(20_000))
    met = met[met > 0.7]

    def sharp(f_number, focus_m):
        defocus = defocus_mm(35.0, f_number, focus_m, met)
        across = np.abs(np.sin(rng.uniform(0, np.pi, met.size))) * people["speed_m_s"]
        motion = motion_mm(35.0, met, across, 1 / 500, crossing_deg=90)
        ratio = np.hypot(defocus, motion) / truth["sharp"]["tolerance_mm"]
        return (1 / (1 + ratio ** truth["sharp"]["steepness"])).mean()

    best = told.decision.setting
    now = sum(share * sharp(one.f_number, one.focus_distance_m) for one, share in told.habit)
    assert sharp(best.f_number, best.focus_distance_m) > 1.1 * now
    assert told.subjects.share_now == pytest.approx(now, abs=0.15)


@pytest.mark.slow
@pytest.mark.skipif(not can_find_faces(), reason="what runs the face detector is not installed")
def test_faces_of_the_figures_tell_their_distances(truth, tmp_path):
    """Near frames without their notes: whoever faces the camera is measured, and the page says so."""
    table, _ = simulate_table(truth["seed"], truth["frames"])
    near = table[(table["session"] == 1) & (table["true_subject_distance_m"] < 1.85)].drop_duplicates("burst")
    true_m = near.set_index("file")["true_subject_distance_m"].iloc[:26]
    for file in true_m.index:
        shutil.copy(DEMO / file, tmp_path)
    audit = run_audit(Request((tmp_path,), measure=True, workers=2))
    measured = audit.table.set_index("file")["measured_distance_m"].dropna()
    assert 5 <= len(measured) < len(true_m)  # backs tell nothing
    off = np.log(measured / [true_m[name] for name in true_m.index if Path(name).name in measured.index])
    assert abs(off.mean()) < 0.1
    assert off.abs().max() < 0.2
    assert audit.table["subject_distance_source"].eq("picture").sum() == len(measured)
    assert "people who faced the camera" in " ".join(build_report(audit).split())
