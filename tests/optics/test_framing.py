"""What the frame cuts, against arithmetic by hand."""

from __future__ import annotations

import math

import pytest

from auditor.optics.framing import LANDMARKS, landmark_at, lower_edge_m, standing_share


def test_the_lower_edge_by_hand() -> None:
    """35 mm lens, 36x24 mm held level, subject 2.035 m from the lens: magnification 0.035/2 = 1/57.14.

    Half the frame, 12 mm, is 0.012 x 57.14 = 0.6857 m there, so the edge lies at 1.6 - 0.6857 = 0.9143 m.
    The sensor plane is 0.035 x (1 + 1/57.14) = 0.0356 m behind the lens.
    """
    distance = 2.035 + 0.035 * (1 + 0.035 / 2)
    assert float(lower_edge_m(distance, 35.0, 24.0)) == pytest.approx(0.9143, abs=2e-4)
    assert float(lower_edge_m(distance, 35.0, 36.0)) == pytest.approx(1.6 - 1.5 * 0.6857, abs=3e-4)
    assert standing_share(distance, 35.0, 24.0) == pytest.approx(1.7 / 1.3714, abs=2e-3)


def test_the_sketch_of_the_trade_holds() -> None:
    """Level, a 35 mm lens at eye height cuts a standing adult near the belt at 1.7 m, the soles at 4.7 m."""
    assert landmark_at(float(lower_edge_m(1.7, 35.0, 24.0))) == "belt"
    assert landmark_at(float(lower_edge_m(4.7, 35.0, 24.0))) == "soles"


def test_the_edge_sinks_with_the_distance_and_rises_with_the_focal_length() -> None:
    edges = lower_edge_m([1.0, 2.0, 4.0], 35.0, 24.0)
    assert (edges[:-1] > edges[1:]).all()
    assert float(lower_edge_m(2.0, 50.0, 24.0)) > float(lower_edge_m(2.0, 28.0, 24.0))
    assert math.isnan(float(lower_edge_m(float("nan"), 35.0, 24.0)))


def test_landmarks_stand_in_the_order_of_the_body_and_none_is_forced() -> None:
    heights = list(LANDMARKS.values())
    assert heights == sorted(heights)
    assert landmark_at(-0.5) is None
    assert landmark_at(2.2) is None
