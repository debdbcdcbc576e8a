"""What is said of measured pictures."""

from __future__ import annotations

import pandas as pd

from auditor.intake.people.filling import PictureFacts
from auditor.show.words import pictures as words

COUNTS = {
    "frames": 10, "tried": 10, "opened": 9, "previews": 2, "with_face": 6, "chosen": 4, "ambiguous": 1,
    "filled": 3,
}  # fmt: skip


def test_what_must_be_said_is_said_once():
    text = " ".join(words.SAID_ONCE)
    for must in (
        "about 9 %", "average build", "Children", "skin", "not measured", "does not mean nobody", "backs",
        "profiles", "far away", "grain", "black-and-white", "mask", "posters and screens", "subject",
        "no verdict", "cache", "auditor forget", "never compared", "law",
    ):  # fmt: skip
        assert text.count(must) >= 1, must
    assert len(words.SAID_ONCE) == len(set(words.SAID_ONCE))


def test_counts_and_refusals_in_words():
    assert words.found(COUNTS) == (
        "Of 10 frames, 9 could be opened (2 by a raw file's preview); 6 show a face, 4 give a distance. "
        "3 distances were filled in where none was stated."
    )
    assert words.found(COUNTS | {"frames": 14}).startswith(
        "Of 14 frames, 10 were measured, one of each burst; 9"
    )
    assert "In 25 % of the frames" in words.choice(COUNTS)
    assert words.choice(COUNTS | {"chosen": 0}) == ""
    assert "might be meant" not in words.choice(COUNTS | {"ambiguous": 0})
    assert words.refusals({"too small": 2, "too blurred": 5}) == (
        "Faces without a distance: too blurred (5) and too small (2)."
    )
    assert words.refusals({}) == ""


def test_who_is_missing_is_said_only_where_faces_are_all():
    facts = PictureFacts(pd.DataFrame(), COUNTS, {}, [])
    assert len(words.say_found(facts)) == 2
    alone = PictureFacts(pd.DataFrame(), COUNTS, {}, [], only_who_faced_the_camera=True)
    assert "faced the camera" in words.say_found(alone)[-1]


def test_the_nearest_are_named():
    assert words.to_look_at((("a.jpg", 0.8), ("b.jpg", 1.25)), "m") == (
        "The nearest and largest subjects, where a poster or a screen would be: a.jpg (0.8 m) and "
        "b.jpg (1.25 m). Look at them."
    )
