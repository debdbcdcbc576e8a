"""Which face is the subject."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.intake.people.subject import AMBIGUOUS, CLEAR, ONLY, choose_subjects, prominence


def frame(*faces, number=0) -> pd.DataFrame:
    """Faces as (size, x of its middle, distance) in a picture of 6000 x 4000."""
    size, x, distance = np.array(faces, dtype=float).T
    return pd.DataFrame(
        {
            "frame": number, "picture_width": 6000.0, "picture_height": 4000.0, "face_px": size,
            "left": x - size / 2, "top": 2000 - size / 2, "width": size, "height": size,
            "distance_m": distance, "distance_rel_sd": 0.08, "refused": None, "blur_px": 3.0,
        }
    )  # fmt: skip


def test_the_large_face_near_the_middle_is_chosen():
    chosen = choose_subjects(frame((100, 3000, 5.0), (250, 2500, 2.0), (60, 5000, 8.0)))
    assert chosen["distance_m"].tolist() == [2.0]
    assert chosen["choice"].tolist() == [CLEAR]
    assert chosen["faces"].tolist() == [3]


def test_a_larger_face_at_the_edge_gives_way_to_one_in_the_middle():
    assert choose_subjects(frame((210, 100, 2.0), (180, 3000, 2.4)))["distance_m"].item() == 2.4


def test_a_face_in_the_corner_counts_as_half_its_size():
    """In the middle, halfway to a side or up or down, and with its own middle in a corner."""
    faces = pd.concat([frame((200, 3000, 2.0))] * 5)
    faces["left"] += np.array([0, 1500, 0, 0, -3000])
    faces["top"] += np.array([0, 0, -1000, 1000, -2000])
    halfway = 200 * (1 - 0.5 * 0.25 / 0.5**0.5)
    assert prominence(faces) == pytest.approx([200, halfway, halfway, halfway, 100])


def test_one_face_is_the_only_one_and_keeps_its_error():
    chosen = choose_subjects(frame((100, 3000, 5.0)))
    assert chosen["choice"].item() == ONLY
    assert chosen["distance_rel_sd"].item() == pytest.approx(0.08, abs=1e-12)


def test_a_rival_at_another_distance_makes_the_choice_ambiguous_and_the_error_wider():
    """Equal prominence: half a chance that the distance is out by ln(3/2)."""
    chosen = choose_subjects(frame((150, 3000, 2.0), (150, 3000, 3.0)))
    assert chosen["choice"].item() == AMBIGUOUS
    assert chosen["distance_rel_sd"].item() == pytest.approx(np.hypot(0.08, np.log(1.5) * 0.5**0.5), abs=1e-9)


def test_two_people_at_one_distance_are_no_doubt():
    chosen = choose_subjects(frame((150, 2800, 2.0), (148, 3200, 2.03)))
    assert chosen["choice"].item() == CLEAR
    assert chosen["distance_rel_sd"].item() < 0.082


def test_a_refused_subject_is_not_replaced_by_a_bystander():
    chosen = choose_subjects(frame((300, 3000, np.nan), (100, 3500, 6.0)))
    assert np.isnan(chosen["distance_m"].item())


def test_sharpness_and_order_have_no_say():
    faces = pd.concat([frame((200, 3000, 2.0), (90, 3000, 5.0)), frame((80, 3000, 7.0), number=3)])
    faces = faces.reset_index(drop=True)
    first = choose_subjects(faces)
    other = choose_subjects(faces.assign(blur_px=[50.0, 0.0, 9.0]).iloc[[2, 1, 0]])
    assert first["distance_m"].tolist() == [2.0, 7.0]
    assert other.sort_values("frame")["distance_m"].tolist() == [2.0, 7.0]
    assert first["frame"].tolist() == [0, 3]


def test_no_faces():
    assert len(choose_subjects(frame((100, 3000, 5.0)).iloc[:0])) == 0
