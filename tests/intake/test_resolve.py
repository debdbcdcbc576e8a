"""What wins, and that the order in which claims come makes no difference."""

import itertools
import math

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
from auditor.intake.resolve import claim_facts, resolve, right_clocks, with_measured
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


def test_a_stretch_passes_over_frames_of_another_lens_and_a_note_holds_all_the_same():
    """Row 5 was taken at 50 mm: a stretch of a 28 mm preset does not set it, a note of that preset does."""
    preset = Preset("arcade", None, 28.0, 8.0, 2.5)
    row = np.array([5])
    by_stretch = resolved(facts_of(), [Claim("preset", "session", row, objects([preset]))])
    assert by_stretch.table["stated_preset"].isna()[5]
    assert len(by_stretch.remarks) == 1
    by_note = resolved(facts_of(), [Claim("preset", "notes", row, objects([preset]))])
    assert by_note.table["stated_preset"][5] == "arcade"
    assert by_note.table["stated_preset_source"][5] == "notes"
    assert not by_note.remarks
    slip = resolved(facts_of(), [Claim("preset", "session", row, objects([None]))])
    assert slip.table["stated_preset_source"].isna()[5]
    assert np.isnan(slip.table["focus_distance_m"][5])


@pytest.mark.parametrize("cell_first", [True, False])
def test_a_cell_of_a_note_wins_over_the_preset_that_it_names(cell_first):
    preset = Preset("arcade", None, 28.0, 8.0, 2.5)
    row = np.array([1])
    claims = [
        Claim("f_number", "notes", row, np.array([5.6]), depth=3),
        Claim("preset", "notes", row, objects([preset]), depth=3),
    ]
    table = resolved(facts_of(), claims if cell_first else claims[::-1]).table
    assert (table["f_number"][1], table["focus_distance_m"][1]) == (5.6, 2.5)
    nearer = [Claim("f_number", "notes", row, np.array([5.6]), depth=2), claims[1]]
    assert resolved(facts_of(), nearer).table["f_number"][1] == 8.0


def test_a_contradiction_is_told_with_the_place_where_it_stands():
    preset = Preset("arcade", None, 28.0, 8.0, 2.5)
    claim = Claim("preset", "session", np.array([0]), objects([preset]), place="session.toml, line 3")
    (problem,) = [p for p in resolved(facts_of(), [claim]).problems if "focus distance" in p.what]
    assert problem.file == "session.toml, line 3"
    assert "The file records another focus distance than 2.5 m of the preset 'arcade'" in problem.what
    without = resolved(facts_of(), [Claim("preset", "session", np.array([0]), objects([preset]))])
    assert [p.file for p in without.problems if "focus distance" in p.what] == [None]


def test_further_columns_stay_and_those_of_facts_are_no_columns_of_the_table():
    table = resolved(facts_of().assign(mine=range(N)), []).table
    assert table["mine"].tolist() == list(range(N))
    assert "recorded_f_number" not in table
    assert list(table)[: len(COLUMNS)] == list(COLUMNS)


def test_the_distance_in_a_file_is_the_focus_or_the_subjects_as_it_is_said():
    claims = claim_facts(facts_of(), np.array([True, True, True, False, False, False])).stated
    found = {
        (claim.quantity, claim.source): dict(zip(claim.rows.tolist(), claim.typed.tolist(), strict=True))
        for claim in claims
        if "distance" in claim.quantity and len(claim.rows)
    }
    assert found == {
        ("subject_distance", "exif"): {0: 2.0},
        ("focus_distance", "exif"): {4: np.inf},
        ("focus_distance", "xmp"): {3: 4.0},
    }


def test_the_lens_is_a_word_and_numbers_are_numbers():
    facts = facts_of(recorded_lens=["a", None, "a", None, "b", None])
    lens, focal, stop, *_ = claim_facts(facts, np.zeros(N, dtype=bool)).stated
    assert (lens.rows.tolist(), lens.typed.tolist()) == ([0, 2, 4], ["a", "a", "b"])
    assert focal.typed.dtype == stop.typed.dtype == np.dtype("float64")


def test_the_error_of_a_distance_is_the_guess_only_where_a_note_was_typed():
    """By hand: a guess by eye 15 %, a share what it is read to, a file nothing, and what is stated wins."""
    rows, share = np.array([0, 1]), Claim("standing_share", "notes", np.array([2, 3]), np.array([0.5, 0.5]))
    claims = [
        Claim("subject_distance", "notes", rows, np.array([3.0, 3.0])),
        Claim("subject_distance_sd", "notes", np.array([1]), np.array([0.02])),
        Claim("subject_distance", "exif", np.array([2, 5]), np.array([9.0, 9.0])),
        Claim("focal_length", "notes", np.array([2, 3]), np.array([28.0, 28.0])),
        share,
    ]
    table = resolved(facts_of(), claims).table
    assert table["subject_distance_source"].tolist() == [
        "notes",
        "notes",
        "notes",
        "notes",
        "unknown",
        "exif",
    ]
    sd = table["subject_distance_rel_sd"]
    assert sd[:2].tolist() == [0.15, 0.02]
    assert sd[2] == sd[3] == pytest.approx(0.067, abs=0.01)
    assert sd[4:].isna().all()
    # 1692.35 mm on half of a 16 mm high picture: 28 x (1 + 1692.35/8) mm and what lies behind the lens.
    assert table["subject_distance_m"][2] == pytest.approx(28e-3 * (1 + 1692.35 / 8) + 0.028, rel=0.001)


def test_a_measured_distance_fills_what_nobody_stated_and_what_was_measured_before():
    sources = ["notes", "picture", "unknown", "unknown", "exif", "picture"]
    table = resolved(facts_of(), []).table.assign(
        subject_distance_m=[1.0, 2.0, np.nan, np.nan, 5.0, 6.0],
        subject_distance_source=pd.Series(sources, dtype="str"),
        subject_distance_rel_sd=0.3,
    )  # fmt: skip
    measured = Claim(
        "subject_distance", "picture", np.array([0, 1, 2]), np.array([7.0, 8.0, 9.0]), rel_sd=np.full(3, 0.1)
    )
    after = with_measured(table, Claims((measured,)))
    assert after["subject_distance_m"].tolist() == pytest.approx([1, 8, 9, np.nan, 5, 6], nan_ok=True)
    assert after["subject_distance_rel_sd"].tolist() == [0.3, 0.1, 0.1, 0.3, 0.3, 0.3]
    assert after["subject_distance_source"].tolist() == [
        "notes",
        "picture",
        "picture",
        "unknown",
        "exif",
        "picture",
    ]


def test_marks_of_two_sources_that_disagree_are_told_and_the_stronger_holds():
    claims = [
        Claim("keeper", "notes", np.array([0, 1]), objects(["yes", "no"])),
        Claim("keeper", "sidecar", np.array([0, 1, 2]), objects(["no", "no", "yes"])),
    ]
    found = resolved(facts_of(), claims)
    assert found.table["keeper"][:3].tolist() == ["yes", "no", "yes"]
    assert found.table["mark_source"][:3].tolist() == ["notes", "notes", "sidecar"]
    (problem,) = [p for p in found.problems if "disagree" in p.what]
    assert problem.what == "1 marks disagree between notes and sidecar: walk/P1010000.jpg."


def test_a_clocks_offset_is_added_and_unknown_times_stay_unknown():
    facts = facts_of(clock_time=[START, None, *[START] * 4])
    moved = right_clocks(facts, np.array([3600.0, 3600.0, -0.5, 0.0, 0.0, 0.0]))
    assert moved[0] == START + pd.Timedelta(hours=1)
    assert pd.isna(moved[1])
    assert moved[2] == START - pd.Timedelta(milliseconds=500)


def test_a_distance_that_cannot_be_converted_has_no_source_and_no_error():
    row = np.array([4])  # its file tells no focal length
    claims = [
        Claim(name, "notes", row, np.array([2.5]), from_lens=True)
        for name in ("focus_distance", "subject_distance")
    ]
    table = resolved(facts_of(), claims).table
    assert table["focus_distance_source"][4] == table["subject_distance_source"][4] == "unknown"
    assert np.isnan(table["subject_distance_rel_sd"][4])
    assert table["focus_distance_source"].tolist() == [
        "exif",
        "unknown",
        "unknown",
        "xmp",
        "unknown",
        "unknown",
    ]


def test_another_f_number_than_a_stretchs_takes_its_name_away_and_not_a_notes():
    """Row 0 was taken at f/8, row 1 records none, row 2 f/5.6; a tenth is another f-number."""
    preset = Preset("arcade", None, math.nan, 8.0, 2.5)
    rows = np.array([0, 1, 2])
    stretch = resolved(facts_of(), [Claim("preset", "session", rows, objects([preset] * 3))]).table
    assert stretch["stated_preset"][:3].fillna("none").tolist() == ["arcade", "arcade", "none"]
    assert stretch["stated_preset_source"][:3].fillna("none").tolist() == ["session", "session", "none"]
    note = resolved(facts_of(), [Claim("preset", "notes", rows, objects([preset] * 3))]).table
    assert note["stated_preset"][:3].tolist() == ["arcade"] * 3
    assert note["f_number"][:3].tolist() == [8.0] * 3
    near = facts_of(recorded_f_number=[8.7, 8.9, 7.3, 7.1, None, None])
    five = Claim("preset", "session", np.arange(4), objects([preset] * 4))
    found = resolved(near, [five])
    assert found.table["stated_preset"][:4].notna().tolist() == [True, False, True, False]
    (told,) = [p for p in found.problems if "another f-number than f/8" in p.what]
    assert told.frames == 4


def test_a_focus_that_was_recorded_a_tenth_away_from_what_was_set_is_told():
    """Row 3 records 4 m and row 0 2 m: 2.1 m is near the latter, 2.5 m is not."""

    def told(distance_m, source, row=0):
        claim = Claim("focus_distance", source, np.array([row]), np.array([distance_m]))
        return [p.what for p in resolved(facts_of(), [claim]).problems if "records another focus" in p.what]

    assert told(2.1, "notes") == told(1.9, "notes") == []
    (what,) = told(2.5, "notes")
    assert what.endswith("than the notes; that of the notes was used: walk/P1010000.jpg.")
    assert told(2.5, "exif") == []
    assert len(told(4.5, "notes", 3)) == 1


def test_another_focal_length_than_a_presets_is_told_where_it_is_no_other_lens():
    """28.5 mm are within a tenth of 28 mm and beyond a thousandth; the file's counts."""
    preset = Preset("arcade", None, 28.0, 8.0, 2.5)
    facts = facts_of(recorded_focal_length_mm=[28.0, 28.5, np.nan, 28.02, 35.0, 50.0])
    found = resolved(facts, [Claim("preset", "session", np.arange(5), objects([preset] * 5))])
    (told,) = [p.what for p in found.problems if "another focal length" in p.what]
    assert told.endswith("the preset 'arcade'; the file's was used: walk/P1010001.jpg.")
    assert found.table["focal_length_mm"][:4].tolist() == [28.0, 28.5, 28.0, 28.02]
    assert found.table["stated_preset"][4:].isna().all()
