"""What is said of a walk: no more than is known, and nothing that the counts beside it deny."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from auditor.advice.paired import Setting
from auditor.advice.past import Advised, Followed, Kept
from auditor.advice.this_walk import Diary
from auditor.evidence.drift import Drift
from auditor.evidence.usual import usual_counts, usual_shares
from auditor.show.page.plots import draw_over_time
from auditor.show.words import walk as words


@pytest.fixture
def diary():
    """Make a diary of walks of 60 presses with so many kept each; None: not chosen from yet."""

    def make(*kept: int | None, **changes) -> Diary:
        n = len(kept)
        of = np.array([0 if one is None else 60 for one in kept])
        hits = np.array([one or 0 for one in kept])
        columns = {
            "session": range(1, n + 1), "starts_at": pd.date_range("2031-05-04 14:00", periods=n, freq="7D"),
            "ends_at": pd.date_range("2031-05-04 15:00", periods=n, freq="7D"), "presses": 60,
            "kept": hits, "kept_of": of, "kept_share": hits / np.where(of, of, np.nan),
            "frames_taken": 60, "unset": 0,
            "zone": 0, "zone_of": 0, "zone_seen": 0, "sharp": 0, "sharp_of": 0, "sharp_seen": 0,
        }  # fmt: skip
        for name, one in (("kept", usual_shares(hits, of)), ("presses", usual_counts(np.arange(n) % 3 + 59))):
            columns |= {f"{name}_low": one.low, f"{name}_high": one.high, f"{name}_place": one.place}
        presets = pd.DataFrame(
            {"preset": ["a"], "f_number": [8.0], "focus_distance_m": [2.5], "presses": [60]}
        )
        told = {"drifts": (), "row": n - 1, "presets": presets, "new": (), "again": (), "followed": (),
                "telling": pd.DataFrame({"file": []})}  # fmt: skip
        return Diary(walks=pd.DataFrame(columns), **(told | changes))

    return make


def told(one: Diary) -> dict[str, words.Row]:
    return {row.what: row for row in words.rows(one)}


def test_a_walk_is_placed_in_the_usual_only_where_there_is_one(diary):
    first = diary(6, 4)
    ((label, note),) = words.notes(first, {}, {}, "m")
    assert (label, note) == ("Usual", "No usual yet: 1 earlier walk, 4 are needed.")
    assert all(row.usual == row.place == "" for row in words.rows(first))
    row = told(diary(6, 4, 5, 7, 6, 5))["kept"]
    assert (row.value, row.place) == ("5 of 60", "within your usual")
    assert row.usual.startswith(("0 to", "1 to"))
    assert told(diary(6, 4, 5, 7, 6, 40))["kept"].place == "better than 19 of 20 such walks would be"
    assert told(diary(30, 31, 29, 33, 30, 1))["kept"].place == "worse than 19 of 20 such walks would be"


def test_what_nobody_chose_yet_is_unknown(diary):
    row = told(diary(30, 31, 29, 33, 30, None))["kept"]
    assert row == words.Row("kept", "no mark counts yet")
    assert "sharp" not in told(diary(30, None)), "nobody ever judged"


def advised(followed: int, kept: Kept | None, sharp: Kept | None = None, kind: str = "change") -> Followed:
    settings = (Setting(8.0, 3.0),) if kind == "change" else ()
    one = Advised(pd.Timestamp("2031-05-04 14:00"), "28 mm", kind, settings, (1.0, 9.0, 0.9, 60, 0, 14), None)
    return Followed(one, 1, 45, followed, kept, sharp)


def test_what_became_of_advice_is_held_against_its_promise():
    said = words.followed(advised(34, Kept(3, 30, 0, 6, 3 / 30)), "m")
    assert said == (
        "Advised after 2031-05-04 for the 28 mm: f/8 at 3 m; set for 34 of 45 presses since: "
        "3 of 30 kept, promised 0 to 6."
    )
    assert "9 of 30 kept, promised 0 to 6: more than that." in words.followed(
        advised(9, Kept(9, 30, 0, 6, 9 / 30)), "m"
    )
    assert ": fewer than that" in words.followed(advised(9, Kept(1, 30, 2, 9, 1 / 30)), "m")
    assert "50 % sharp, promised 40 % to 80 %;" in words.followed(
        advised(9, Kept(1, 30, 0, 9, 1 / 30), Kept(5, 10, 4, 8, 5 / 10)), "m"
    )
    as_judged = words.followed(advised(9, None, Kept(20, 22, 14, 22, 0.92)), "m")
    assert "92 % sharp, promised 64 % to 100 %." in as_judged, "not 20 of 22, the effective frames"
    assert words.followed(advised(0, None), "m").endswith("; not set on any of 45 presses since.")
    assert words.followed(advised(9, None), "m").endswith("; what it brought is not marked yet.")


def test_a_forecast_is_not_called_advice():
    said = words.followed(advised(45, Kept(2, 50, 1, 15, 2 / 50), kind="cannot_tell"), "m")
    assert said == "Expected after 2031-05-04 for the 28 mm: 1 to 15 of 50 kept, and 2 were."
    few = words.followed(advised(45, Kept(1, 30, 2, 9, 1 / 30), kind="cannot_tell"), "m")
    assert few.endswith("2 to 9 of 30 kept, and 1 was: fewer than that.")
    nothing = advised(45, None, kind="cannot_tell")
    assert words.followed(nothing, "m") == ""


def test_a_drift_is_said_with_its_interval():
    falls = Drift("kept", 0.12, 0.03, -0.14, -0.04, 0.97, 40, shown=True)
    assert words.drift(falls, "m").startswith(
        "The share you keep falls: from about 12 of 100 presses to 3 over 40 walks (likely −14 to −4 of 100)."
    )
    assert "the streets poorer" in words.drift(falls, "m")
    farther = Drift("distance", 2.0, 3.0, 1.2, 1.8, 0.99, 40, shown=True)
    assert (
        words.drift(farther, "m")
        == "You meet people farther: from about 2 m to 3 m over 40 walks (likely +20 to +80 %)."
    )


def test_walks_over_time_name_those_outside_and_are_drawn(diary):
    one = diary(6, 4, 5, 7, 6, 40, None)
    said = words.over_time(one)
    assert said == "Of 2 walks held against those before, 1 lay outside your usual: 2031-06-08 (kept more)."
    svg = draw_over_time(one.walks, said)
    assert svg.count("<circle") == 6
    assert svg.count("point not-kept") == 1
    assert svg.count('class="band"') == 1
    calm = diary(6, 4, drifts=(Drift("kept", 0.1, 0.1, -0.1, 0.1, 0.97, 6, shown=False),))
    assert words.over_time(calm).startswith("It takes 4 walks")
    assert "none lay outside. Nothing surely drifts" in words.over_time(
        diary(6, 4, 5, 7, 6, drifts=calm.drifts)
    )


def test_rolls_without_times_are_named_by_their_first_frame(diary):
    rolls = diary(6, 4, 5, 7, 6, 40)
    names = [f"roll{i}/scan1.jpg" for i in range(6)]
    rolls.walks[["starts_at", "ends_at"]] = pd.NaT
    said = words.over_time(replace(rolls, walks=rolls.walks.assign(first_file=names, last_file=names)))
    assert said.endswith("1 lay outside your usual: roll5/scan1.jpg (kept more).")


def test_frames_without_a_setting_are_said_and_several_walks_of_a_name(diary):
    one = diary(6, 4, named=2)
    assert words.set_up(one, {}) == "Set f/8 at 2.5 m (60)."
    assert words.title(one).endswith("15:00 (the newest of 2 so named)")
    walks = one.walks.assign(frames_taken=60, presses=41, unset=12)
    said = words.set_up(replace(one, walks=walks), {})
    assert said == "Set f/8 at 2.5 m (60). 60 frames, 41 presses; 12 without a zone setting."


def test_rolls_without_times_are_no_earlier_walks_of_dated_ones(diary):
    one = diary(6, 4, 5, 7, 6)
    one.walks.loc[:2, ["starts_at", "ends_at"]] = pd.NaT
    assert words.notes(one, {}, {}, "m") == [("Usual", "No usual yet: 1 earlier walk, 4 are needed.")]


def test_shares_of_a_walk_carry_their_interval_and_few_frames_are_counts(diary):
    one = diary(6, 4)
    own = {"zone_seen": 14, "zone_hits": 6, "zone_share": 0.34, "zone_share_low": 0.14,
           "zone_share_high": 0.63, "zone_low": 0.3, "zone_high": 0.6, "zone_place": "usual",
           "sharp_seen": 2, "sharp_hits": 1, "sharp_share": 0.72, "sharp_place": "more"}  # fmt: skip
    rows = told(replace(one, walks=one.walks.assign(**own)))
    assert rows["in zone"].value == "34 % (14–63 %; 14 frames measured)"
    assert rows["in zone"].usual == "30–60 %"
    assert rows["sharp"] == words.Row("sharp", "1 of 2 frames judged"), (
        "no percentage that two cannot come to"
    )


def test_presses_that_do_not_count_are_accounted_for(diary):
    one = diary(6, 4)
    rows = told(replace(one, walks=one.walks.assign(presses=63)))
    assert rows["kept"].value == "4 of 60 (3 left out by the rule of marks)"
    assert told(one)["kept"].value == "4 of 60"


def test_a_ring_is_named_as_it_is_engraved(diary):
    assert words.set_up(diary(6), {"a": "ft"}) == "Set f/8 at 8.2 ft (60)."
    said = words.followed(advised(9, None), "ft")
    assert "f/8 at 9.8 ft; set for" in said


def test_a_name_that_two_frames_have_stands_with_its_folder(diary):
    files = pd.Series(["may/A01.JPG", "june/A01.JPG", "june/A02.JPG", "june/AA02.JPG"])
    one = diary(6, again=("june/A01.JPG",), telling=pd.DataFrame({"file": ["june/A02.JPG"]}))
    called = words.called(one, files)
    assert called == {"june/A01.JPG": "june/A01.JPG", "june/A02.JPG": "A02.JPG"}
    assert ("Again", "1 passed over, though sharp (judged, else worked out): june/A01.JPG.") in words.notes(
        one, called, {}, "m"
    )
