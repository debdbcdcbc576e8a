"""Fourth side: rays. A ray tracer that knows only how a thin lens bends a ray, against the closed form."""

from __future__ import annotations

import numpy as np
import pytest

from auditor.optics.blur import defocus_mm
from auditor.optics.lens import lens_distance_m, sharp_zone

RAYS = 721


def spot_mm(focal_mm, f_number, focus_mm, subject_mm, height=0.0):
    """Diameter of the spot on the sensor [mm], by tracing rays through the rim of the pupil.

    A ray from the object point meets the lens at a point of the pupil, leaves with its slope changed by minus
    that point over the focal length, and goes straight to the sensor. The sensor stands where rays from an
    axial point at the focus distance cross, which is traced too.
    """
    angle = np.linspace(0, 2 * np.pi, RAYS)
    rim = focal_mm / f_number / 2 * np.array([np.cos(angle), np.sin(angle)])
    in_focus = rim[0, 0] / focus_mm - rim[0, 0] / focal_mm  # slope behind the lens of an axial, focused ray
    sensor_mm = -rim[0, 0] / in_focus
    if np.isinf(subject_mm):
        slope = np.full_like(rim, 0.0)
        slope[0] += height
    else:
        slope = (rim - np.array([[height * subject_mm], [0.0]])) / subject_mm
    hits = rim + sensor_mm * (slope - rim / focal_mm)
    spans = hits.max(axis=1) - hits.min(axis=1)
    assert spans[0] == pytest.approx(
        spans[1], rel=1e-4
    )  # a disc; coarser, for rays stand half a degree apart
    return float(np.hypot(*(hits[:, 0] - hits[:, RAYS // 2])))  # opposite points of the rim


GRID = [
    (focal, number, focus, factor)
    for focal in (21.0, 28.0, 35.0, 50.0, 135.0)
    for number in (1.4, 4.0, 8.0, 16.0)
    for focus in (700.0, 2500.0, 10_000.0, np.inf)
    for factor in (0.5, 0.8, 0.97, 1.05, 2.0, 20.0, np.inf)
]


@pytest.mark.parametrize("height", [0.0, 0.3], ids=["on the axis", "off the axis"])
def test_the_traced_spot_is_the_blur_disc(height):
    for focal, number, focus, factor in GRID:
        subject = 3000.0 * factor if np.isinf(focus) else focus * factor
        if np.isinf(focus) and np.isinf(subject):
            continue
        closed = float(defocus_mm(focal, number, focus / 1000, subject / 1000, "lens"))
        traced = spot_mm(focal, number, focus, subject, height)
        assert traced == pytest.approx(closed, rel=1e-6), (focal, number, focus, subject)


def test_the_traced_spot_at_each_limit_is_the_circle_of_confusion():
    for focal, number, focus, _ in GRID[::7]:
        zone = sharp_zone(focal, number, focus / 1000, 0.03, "lens")
        for limit in (float(zone.near_limit_m), float(zone.far_limit_m)):
            if np.isfinite(limit):
                assert spot_mm(focal, number, focus, limit * 1000) == pytest.approx(0.03, rel=1e-6)


def test_rays_confirm_the_distance_from_the_sensor():
    """A point at D from the sensor: its rays meet on the sensor when the lens stands at u from it."""
    for focal in (21.0, 50.0, 135.0):
        for ring in (0.7, 1.5, 8.0):
            u = float(lens_distance_m(ring, focal)) * 1000
            height = 5.0
            slope = height / u - height / focal
            crossing = -height / slope
            assert u + crossing == pytest.approx(ring * 1000, rel=1e-9)
