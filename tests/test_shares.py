"""Every share that an audit of a drawn sample shows is put back to all frames, or says why it need not be."""

from __future__ import annotations

import csv
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from worlds.people import World, draw_archive

from auditor.intake.sampling import draw_sample, sample_as_csv
from auditor.journey import Audit, run_audit, run_scan
from auditor.settings import Request
from auditor.show.outputs import audit_json

pytestmark = pytest.mark.slow

COLUMNS = [
    "file", "captured_at", "camera", "lens", "preset", "focal_length_mm", "f_number", "exposure_time_s",
    "iso", "sensor_width_mm", "sensor_height_mm", "focus_distance_m", "keeper",
]  # fmt: skip
UNITS = re.compile(r"(_mm|_m|_s|_ev|_px)$")

# Shares over distance: each is held against a plain weighted count below.
PUT_BACK = {
    "zone_check.in_rate", "zone_check.in_low", "zone_check.in_high",
    "zone_check.out_rate", "zone_check.out_low", "zone_check.out_high",
    "zone_check.kept_outside", "zone_check.kept_outside_low", "zone_check.kept_outside_high",
    "distances[].frame_rate", "distances[].frame_low", "distances[].frame_high",
    "distances_met.presets[].in_zone", "distances_met.presets[].zone_low",
    "distances_met.presets[].zone_high",
    "causes.of_100.in_front_of_zone", "causes.of_100.beyond_zone", "causes.of_100.subject_motion",
    "causes.of_100.diffraction", "causes.of_100.not_explained_by_blur",
}  # fmt: skip

# All others: what they are of, and why no weight belongs to them.
EVERY_FRAME = "of all counted frames or bursts; nothing was drawn"
RATIO = "a ratio of shares that are put back"
MODEL = "of the fitted curve, to which each burst brings its weight"
EXPECTED = "expected over the distances met, each with its weight"
COUNT = "frames of the measured ones, added up in parts; of_100 beside it is put back"
PER_HOUR = "keepers an hour, of all counted frames"
ASKED = "what was asked for"
TEST = "a p-value"
RATES = ("hit_rate", "low", "high", "frame_rate", "frame_low", "frame_high")
JUSTIFIED = {
    "settings.": ASKED,
    **{
        f"{table}[].{name}": EVERY_FRAME
        for table in ("sessions", "presets")
        for name in (*RATES, "keepers_per_hour", "per_hour_low", "per_hour_high")
    },
    **{f"walks[].{name}": EVERY_FRAME for name in ("kept_share", "kept_low", "kept_high", "log_f_number")},
    **{
        f"walks[].{name}{end}": "of one walk, weighed; tested where it is counted"
        for name in ("zone", "sharp")
        for end in ("_share", "_share_low", "_share_high", "_low", "_high")
    },
    "walks[].vergence": "a mean of 1/m",
    "walks[].log_distance": "a mean of logarithms",
    "drifts[].": "of a line through the walks",
    "past_advice[].": "of a walk to come",
    **{
        f"comparisons[].{name}": EVERY_FRAME
        for name in (
            "rate_a",
            "rate_b",
            "difference",
            "low",
            "high",
            "frame_difference",
            "p_value",
            "p_adjusted",
        )
    },
    "counted_to_the_end.frame_rate": EVERY_FRAME,
    "counted_to_the_end.frame_low": EVERY_FRAME,
    "counted_to_the_end.frame_high": EVERY_FRAME,
    "distances[].times_overall": RATIO,
    "zone_check.times": RATIO,
    "zone_check.times_low": RATIO,
    "zone_check.times_high": RATIO,
    "zone_check.odds_ratio": RATIO,
    "zone_check.low": RATIO,
    "zone_check.high": RATIO,
    "zone_check.allowance_low": "a length",
    "zone_check.allowance_high": "a length",
    "distances_met.p_value_same_distances": TEST,
    "tolerance.low": "a length",
    "tolerance.high": "a length",
    "tolerance.ceiling": MODEL,
    "tolerance.floor": MODEL,
    "tolerance.times_handbook": MODEL,
    "causes.in_front_of_zone": COUNT,
    "causes.beyond_zone": COUNT,
    "causes.subject_motion": COUNT,
    "causes.diffraction": COUNT,
    "causes.not_explained_by_blur": COUNT,
    "causes.by_preset[].": COUNT,
    "tolerance.nothing": "a chance of the model",
    "tolerance.sharp.": "lengths",
    "tolerance.keep.": "lengths",
    "tolerance.by_lens.": "lengths, and of the fitted curve",
    **{
        f"{table}[].{name}": "verdicts, each weighed by preset and mark; tested where they are counted"
        for table in ("presets", "distances")
        for name in ("sharp_rate", "sharp_low", "sharp_high", "sharp_per_hour")
    },
    "advice.settings[].": EXPECTED,
    "advice.current[].share_of_presses": EVERY_FRAME,
    "advice.decision.": EXPECTED,
    "advice.situations[].": EXPECTED,
    "advice.subjects.": EXPECTED,
    "advice.level.": "of all counted presses, sessions as they differ",
    "advice.next_walk.": "of a walk to come",
    "advice.walk_worth.": EXPECTED,
    "advice.gates[].": TEST,
    "other_advice[].": EXPECTED,
    "tuning.decision.": EXPECTED,
    "tuning.stops[].": EXPECTED,
}


@pytest.fixture(scope="module")
def audit(tmp_path_factory: pytest.TempPathFactory) -> Audit:
    """An audit of 400 frames, 7 of 100 kept, of which 60 drawn ones were measured; as files on disk."""
    folder = tmp_path_factory.mktemp("street")
    table = draw_archive(5, World(distances=1000)).table
    source = folder / "frames.csv"
    table[COLUMNS].to_csv(source, index=False)
    scanned = run_scan(Request((source,), cache=None)).archive.table
    sample = draw_sample(scanned, 60, seed=1)
    measured = dict(zip(table["file"], table["subject_distance_m"], strict=True))
    with (folder / "notes.csv").open("w", newline="", encoding="utf-8") as notes:
        rows = csv.writer(notes)
        rows.writerow(["file", "subject_distance"])
        rows.writerows((file, f"{measured[file]:.3f}m") for file in scanned["file"].iloc[sample.rows])
    (folder / "sample.csv").write_text(sample_as_csv(scanned, sample), encoding="utf-8")
    return run_audit(Request((source,), notes_file=folder / "notes.csv", cache=None))


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a document under its path; places in lists are written []."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list):
        for inner in value:
            yield from leaves(inner, f"{path}[]")
    else:
        yield path, value


def may_be_a_share(path: str, value: Any) -> bool:
    if "of_100" in path:
        return True
    return isinstance(value, float) and 0 < abs(value) < 1 and not UNITS.search(path)


def test_every_share_is_put_back_or_has_its_reason(audit: Audit) -> None:
    found = {path for path, value in leaves(audit_json(audit)) if may_be_a_share(path, value)}
    assert found >= {"zone_check.in_rate", "distances[].frame_rate", "distances_met.presets[].in_zone"}
    left = [
        path
        for path in sorted(found - PUT_BACK)
        if path not in JUSTIFIED and not any(path.startswith(key) for key in JUSTIFIED if key[-1] == ".")
    ]
    assert not left, "weigh these, or say in JUSTIFIED why not"


def test_what_is_put_back_is_a_plain_weighted_count(audit: Audit) -> None:
    """Counted by hand: frames of a preset and mark over those of them with a distance."""
    shown, table = audit_json(audit), audit.table
    cell = table["preset"].astype(str) + table["counted_as"].astype(str)
    known = table["subject_distance_m"].notna()
    weight = cell.map(cell.value_counts() / cell[known].value_counts()).where(known, 0.0)
    kept = table["counted_as"] == "keeper"

    def share(of: pd.Series, where: pd.Series) -> float:
        return float((weight * (of & where)).sum() / (weight * where).sum())

    inside = known & table["in_zone"].fillna(False)
    outside = known & ~table["in_zone"].fillna(True)
    check = shown["zone_check"]
    assert check["in_rate"] == pytest.approx(share(kept, inside), rel=1e-9)
    assert check["out_rate"] == pytest.approx(share(kept, outside), rel=1e-9)
    assert check["kept_outside"] == pytest.approx(share(outside, known & kept), rel=1e-9)
    assert (check["in_kept"], check["out_not_kept"]) == ((inside & kept).sum(), (outside & ~kept).sum())
    assert kept[inside].mean() > 2 * check["in_rate"], "the sample holds keepers more readily"
    for band in shown["distances"]:
        end = np.inf if band.get("to_m_is_infinite") else band["to_m"]
        own = known & table["subject_distance_m"].between(band["from_m"], end, inclusive="left")
        if band["preset"] is not None:
            own &= table["preset"] == band["preset"]
        assert band["frame_rate"] == pytest.approx(share(kept, own), rel=1e-9)
        assert (band["frames"], band["keepers"]) == (own.sum(), (own & kept).sum())
    for met in shown["distances_met"]["presets"]:
        own = known if met["preset"] is None else known & (table["preset"] == met["preset"])
        assert met["in_zone"] == pytest.approx(share(inside, own), rel=1e-9)


def test_intervals_hold_their_shares(audit: Audit) -> None:
    check = audit.zone_check
    assert check.in_low < check.in_rate < check.in_high
    assert check.out_low < check.out_rate < check.out_high
    assert check.times_low < check.times < check.times_high
    bands = audit.distances
    assert (bands["frame_low"] <= bands["frame_rate"]).all()
    assert (bands["frame_rate"] <= bands["frame_high"]).all()


def test_causes_of_100_are_of_all_frames_not_kept(audit: Audit) -> None:
    causes = audit.causes
    assert causes.table["of_100"].sum() == pytest.approx(100, rel=1e-9)
    frames = causes.frames.set_index("file")
    weight = audit.table.set_index("file").loc[frames.index, "sample_weight"]
    for name, part in causes.table["of_100"].items():
        assert part == pytest.approx(100 * (weight * frames[name]).sum() / weight.sum(), rel=1e-9)
