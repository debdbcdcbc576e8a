"""What wins, and that the order in which claims come makes no difference."""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from auditor.frames import COLUMNS, MEASURED_COLUMNS, WRITERS
from auditor.intake.assembling import read_archive
from auditor.intake.frame_index import FrameIndex
from auditor.intake.library.facts import fact_table
from auditor.intake.precedence import PRECEDENCE
from auditor.intake.resolve import claim_facts, resolve, right_clocks
from auditor.intake.statements.claims import Claim, Claims, objects, together
from auditor.intake.statements.session import Preset
from auditor.settings import Request

N = 6
START = pd.Timestamp("2031-04-05 14:00")
NUMBERS = {
    "focal_length": (28.0, 35.0, 50.0, np.nan),
    "f_number": (5.6, 8.0, 16.0, np.nan),
    "focus_distance": (1.5, 2.5, np.inf, np.nan),
    "subject_distance": (1.2, 3.0, 9.0),
    "standing_share": (0.3, 0.6),
    "face_share": (0.05, 0.1),
    "subject_distance_sd": (0.1, 0.3),
    "sample_weight": (1.0, 4.0),
    "sharp_shown_px": (1600.0,),
}
WORDS = {
    "lens": ("my 28", "other"),
    "keeper": ("yes", "no"),
    "sharp": ("yes", "no", "unsure"),
    "reason": ("blink", "far"),
    "preset": (
        Preset("arcade", "my 28", 28.0, 8.0, 2.5),
        Preset("gate", None, 35.0, np.nan, 4.0),
        Preset("half", None, np.nan, 16.0),
        None,
    ),
}


@st.composite
def claim(draw):
    """A claim of any quantity by any of its sources; no two of one source and depth share a place."""
    quantity = draw(st.sampled_from(sorted({**NUMBERS, **WORDS})))
    source = draw(st.sampled_from(PRECEDENCE[quantity]))
    rows = np.array(sorted(draw(st.sets(st.integers(0, N - 1), min_size=1))), dtype=np.intp)
    choices = NUMBERS.get(quantity) or WORDS[quantity]
    picked = [draw(st.sampled_from(choices)) for _ in rows]
    if source == "session" and quantity == "preset":
        picked = picked[:1] * len(rows)
    typed = objects(picked) if quantity in WORDS else np.array(picked)
    from_lens = quantity in ("focus_distance", "subject_distance", "preset") and draw(st.booleans())
    return Claim(quantity, source, rows, typed, from_lens=from_lens, depth=draw(st.integers(0, 3)))


def facts_of(**columns):
    names = [f"walk/P101{i:04d}.jpg" for i in range(N)]
    base = {
        "file": names,
        "files": names,
        "clock_time": [START + pd.Timedelta(minutes=i) for i in range(N)],
        "body": ["body A"] * N,
        "model": ["body A"] * N,
        "recorded_focal_length_mm": [28.0, 28.0, np.nan, 35.0, np.nan, 50.0],
        "recorded_f_number": [8.0, np.nan, 5.6, np.nan, np.nan, 16.0],
        "recorded_distance_m": [2.0, np.nan, np.nan, 4.0, np.inf, np.nan],
        "recorded_distance_by": ["exif", None, None, "xmp", "exif", None],
        "crop_factor": [1.5] * N,
        "pixel_width": [6000] * N,
        "pixel_height": [4000] * N,
    }
    return fact_table(base | columns)


def resolved(facts, claims):
    paths = [f"/a/{file}" for file in facts["file"]]
    times_s = np.arange(len(facts)) * 60.0
    index = FrameIndex(facts["files"].tolist(), paths, facts["body"].to_numpy(object), times_s)
    own = claim_facts(facts, np.zeros(len(facts), dtype=bool))
    times = right_clocks(facts, np.zeros(len(facts)))
    return resolve(facts, times, index, together([own, Claims(tuple(claims))]), np.full(len(facts), 0.15))


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(st.lists(claim(), max_size=9), st.randoms(use_true_random=False))
def test_claims_in_any_order_give_the_same_table_and_problems(claims, random):
    named = [Claim(c.quantity, c.source, c.rows, c.typed, f"file {i}", c.depth, c.from_lens)
             for i, c in enumerate(claims)]  # fmt: skip
    shuffled = random.sample(named, len(named))
    one, other = resolved(facts_of(), named), resolved(facts_of(), shuffled)
    pd.testing.assert_frame_equal(one.table, other.table)
    assert sorted(map(repr, one.problems)) == sorted(map(repr, other.problems))


@pytest.mark.parametrize("quantity", ["focal_length", "f_number", "focus_distance", "subject_distance"])
def test_each_source_wins_over_every_weaker_one(quantity):
    sources = PRECEDENCE[quantity]
    row = np.array([1])
    unit = {"focal_length": "_mm", "f_number": ""}.get(quantity, "_m")
    column = f"{quantity}{unit}"
    for strong, weak in itertools.combinations(range(len(sources)), 2):
        claims = [Claim(quantity, sources[i], row, np.array([10.0 + i])) for i in (weak, strong)]
        facts = facts_of(recorded_focal_length_mm=[np.nan] * N)
        assert resolved(facts, claims).table[column][1] == 10.0 + strong


def test_a_distance_from_the_lens_waits_for_the_final_focal_length_whoever_states_it():
    row = np.array([4])  # its file tells no focal length
    distance = Claim("focus_distance", "notes", row, np.array([2.5]), from_lens=True)
    told = resolved(facts_of(), [distance, Claim("focal_length", "session", row, np.array([28.0]))])
    # By hand: 2.5 m from the lens is 2.5 + v from the sensor, v = u f / (u - f) = 2.5 * 0.028 / 2.472.
    assert told.table["focus_distance_m"][4] == pytest.approx(2.5 + 2.5 * 0.028 / 2.472, rel=1e-9)
    alone = resolved(facts_of(), [distance])
    assert np.isnan(alone.table["focus_distance_m"][4])
    assert any("cannot be converted" in p.what and "P1010004.jpg" in p.what for p in alone.problems)


def test_each_column_is_written_by_its_one_writer_on_the_whole_journey(tmp_path, walk, monkeypatch):
    """The table before and after each step of the journey: only the step's own columns may have changed."""
    from auditor import journey

    folder = walk(8, focal_length_mm=28.0, rating=["3", None] * 4, distance=(5, 2), f_number=8.0)
    changed: dict[str, set[str]] = {}

    def watched(module, name):
        step = getattr(journey, name)

        def go(table, *rest):
            before = table.copy()
            after = step(table, *rest)
            pd.testing.assert_frame_equal(table, before)  # nothing in place
            changed.setdefault(module, set()).update(
                c for c in after if c not in before or not after[c].equals(before[c])
            )
            return after

        monkeypatch.setattr(journey, name, go)

    watched("evidence/presets.py", "name_presets")
    watched("evidence/presets.py", "number_bursts")
    watched("evidence/zones.py", "add_zones")
    scanned = journey.run_scan(Request((folder,), cache=None))
    for module, columns in changed.items():
        assert {WRITERS[c] for c in columns} == {module}
    before = scanned.archive.table.copy()
    audit = journey.run_audit(Request((folder,), cache=None))
    pd.testing.assert_frame_equal(audit.table, before)  # evidence and advice write nothing
    stated = read_archive(Request((folder,), cache=None)).table
    later = {c for c in COLUMNS if WRITERS[c].startswith("evidence/")}
    assert stated[[*later]].isna().all(axis=None)
    assert not set(MEASURED_COLUMNS) & set(stated)
