"""Invented photographers whose truth is known: how they walk, what they keep, what every setting would bring.

Nothing here uses the package's own averaging: true rates come from a plain sum over distances, light and
directions. Only the optics and the camera's answer to the light are shared.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from auditor.advice.light import expose, nominal_iso, nominal_shutter_s

from auditor.advice.limits import Limits
from auditor.evidence.presets import number_bursts
from auditor.evidence.zones import add_zones
from auditor.frames import with_columns
from auditor.optics.blur import airy_mm, combined_mm, defocus_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification, sharp_zone
from auditor.optics.sensors import parse_criterion
from auditor.settings import WALKING_SPEED_M_S

STOPS = (2.8, 4.0, 5.6, 8.0, 11.0, 16.0)
RINGS_M = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0)
NEAREST_M = 0.5
GUESS_SD = 0.12
COC_MM = 43.267 / 1442
_LOG_M = np.linspace(np.log(NEAREST_M), np.log(60.0), 240)
_SINES = np.sin((np.arange(24) + 0.5) / 24 * np.pi / 2)


@dataclass(frozen=True)
class Photographer:
    """One invented photographer; lengths [mm], distances [m], light as exposure value at ISO 100."""

    focal_mm: float
    tolerance_mm: float
    steepness: float
    ceiling: float
    floor: float
    median_m: float
    log_sd: float
    ev: float
    limits: Limits
    presses_inside: bool
    tied_to_light: bool

    def keep_chance(self, blur_mm):
        return self.floor + (self.ceiling - self.floor) / (
            1 + (blur_mm / self.tolerance_mm) ** self.steepness
        )

    def blur_mm(self, f_number, focus_m, subject_m, time_s, sine):
        size = magnification(lens_distance_m(subject_m, self.focal_mm), self.focal_mm)
        across = motion_mm(self.focal_mm, subject_m, WALKING_SPEED_M_S, time_s, crossing_deg=90)
        return combined_mm(
            defocus_mm(self.focal_mm, f_number, focus_m, subject_m), across * sine, airy_mm(f_number, size)
        )


def draw_photographer(rng, *, presses_inside=False, tied_to_light=False):
    """Tolerance, ceiling, distances and light at random; focal length 21 to 50 mm."""
    wanted = rng.choice([1 / 250, 1 / 500])
    return Photographer(
        focal_mm=float(rng.choice([21.0, 24.0, 28.0, 35.0, 40.0, 50.0])),
        tolerance_mm=float(np.exp(rng.uniform(np.log(0.02), np.log(0.09)))),
        steepness=float(np.exp(rng.normal(np.log(4.0), 0.3))),
        ceiling=float(rng.uniform(0.2, 0.6)),
        floor=float(rng.uniform(0.01, 0.05)),
        median_m=float(np.exp(rng.normal(np.log(2.8), 0.2))),
        log_sd=float(rng.uniform(0.3, 0.5)),
        ev=float(rng.uniform(8.5, 13.0)),
        limits=Limits(
            iso_min=100.0,
            iso_max=float(rng.choice([3200.0, 6400.0, 12800.0])),
            wanted_shutter_s=float(wanted),
            slowest_shutter_s=float(rng.choice([1 / 60, 1 / 125])),
        ),
        presses_inside=presses_inside,
        tied_to_light=tied_to_light,
    )


def draw_presets(person, rng, count=5):
    """Different settings, as (f-number, focus distance)."""
    number = rng.choice(STOPS[1:], count)
    focus = rng.choice(RINGS_M, count, replace=False)
    return sorted(zip(number.tolist(), focus.tolist(), strict=True))


def walk(person, presets, frames, rng, *, sessions=3, first_session=0, share=None):
    """A frame table, its true light and its true distances; each press is a burst of its own.

    Every session has one stretch of each preset, in random order or by the light; `share` is each one's part.
    """
    stretches = sessions * len(presets)
    order = np.concatenate([rng.permutation(len(presets)) for _ in range(sessions)])
    part = np.full(len(presets), 1 / len(presets)) if share is None else np.asarray(share)
    # Tied to light, which preset a stretch has is only known below.
    offered = np.full(stretches, 1 / stretches) if person.tied_to_light else part[order] / sessions
    place = np.sort(rng.choice(stretches, 6 * frames + 50, p=offered))
    session = place // len(presets)
    light = person.ev + rng.normal(0, 1.0, sessions)[session] + rng.normal(0, 0.7, stretches)[place]
    light = light + rng.normal(0, 0.3, len(place))
    if person.tied_to_light:
        order = _by_light(presets, light, place, stretches)
    preset = order[place]
    number, focus = np.array(presets).T
    number, focus = number[preset], focus[preset]
    subject = np.maximum(person.median_m * np.exp(person.log_sd * rng.standard_normal(len(place))), NEAREST_M)
    pressed = expose(light, number, person.limits).taken
    if person.presses_inside:
        looks = subject * np.exp(GUESS_SD * rng.standard_normal(len(place)))
        zone = sharp_zone(person.focal_mm, number, focus, COC_MM)
        pressed &= (looks >= zone.near_limit_m) & (looks <= zone.far_limit_m)
    kept_rows = np.flatnonzero(pressed)
    chance = part[preset[kept_rows]] if person.tied_to_light else np.ones(len(kept_rows))
    count = min(frames, len(kept_rows))
    if count:  # in the dark nothing could be taken
        kept_rows = np.sort(rng.choice(kept_rows, count, replace=False, p=chance / chance.sum()))
    number, focus, subject, light, session, preset = (
        column[kept_rows] for column in (number, focus, subject, light, session, preset)
    )
    exposed = expose(light, number, person.limits)
    n = len(kept_rows)
    sine = np.abs(np.sin(rng.uniform(0, 2 * np.pi, n)))
    blur = person.blur_mm(number, focus, subject, exposed.exposure_time_s, sine)
    hit = rng.random(n) < person.keep_chance(blur)
    table = with_columns(
        pd.DataFrame(
            {
                "file": [f"F{first_session}_{i:05d}.jpg" for i in range(n)],
                "session": first_session + session,
                "captured_at": pd.Timestamp("2031-05-01")
                + pd.to_timedelta((first_session + session) * 86400 + np.arange(n) * 30, unit="s"),
                "camera": "body A",
                "lens": "lens A",
                "preset": [f"f/{presets[p][0]:g} at {presets[p][1]:g} m" for p in preset],
                "focal_length_mm": person.focal_mm,
                "f_number": number,
                "exposure_time_s": nominal_shutter_s(exposed.exposure_time_s),
                "iso": nominal_iso(exposed.iso),
                "sensor_width_mm": 36.0,
                "sensor_height_mm": 24.0,
                "focus_distance_m": focus,
                "subject_distance_m": np.maximum(subject * np.exp(GUESS_SD * rng.standard_normal(n)), 0.35),
                "subject_distance_source": "notes",
                "keeper": np.where(hit, "yes", "no"),
                "counted_as": np.where(hit, "keeper", "not kept"),
                "in_preset": True,
            }
        )
    )
    table = add_zones(number_bursts(table), parse_criterion("handbook"), WALKING_SPEED_M_S)
    return table.assign(true_ev=light, true_subject_m=subject)


def _by_light(presets, light, place, stretches):
    """In each session the smallest opening in the brightest stretch."""
    mean = np.array([light[place == s].mean() if (place == s).any() else 0.0 for s in range(stretches)])
    per = mean.reshape(-1, len(presets))
    return per.argsort(axis=1).argsort(axis=1).ravel()  # presets are sorted by f-number


def true_rates(person, number, focus, ev, met_m=None):
    """True expected hit rate of settings in the light `ev` of frames.

    Over the photographer's own distribution of distances (those who press only inside the zone: of the people
    whom they would press for at each setting), or over given true distances `met_m`.
    """
    edges = np.round(np.asarray(ev) * 6) / 6
    light, counts = np.unique(edges, return_counts=True)
    if met_m is None:
        distance = np.exp(_LOG_M)
        weight = np.exp(-0.5 * ((_LOG_M - np.log(person.median_m)) / person.log_sd) ** 2)
    else:
        distance, weight = np.asarray(met_m), np.ones(len(met_m))
    rates = np.empty(len(number))
    for row, (stop, ring) in enumerate(zip(number, focus, strict=True)):
        exposed = expose(light, stop, person.limits)
        times, place = np.unique(np.round(exposed.exposure_time_s[exposed.taken], 7), return_inverse=True)
        share = np.bincount(place, counts[exposed.taken], minlength=len(times)) / counts.sum()
        own = weight
        if person.presses_inside and met_m is None:
            own = weight * _pressed(person, stop, ring, distance)
        blur = person.blur_mm(stop, ring, distance[:, None, None], times[:, None], _SINES)
        kept = person.keep_chance(blur).mean(axis=-1) @ share
        rates[row] = (own @ kept) / own.sum() if own.sum() > 0 else 0.0
    return rates


def near_best_settings(person, rng):
    """Settings truly within 1 % of the best at distances that are met, in random order."""
    number, focus = (column.ravel() for column in np.meshgrid(STOPS, RINGS_M))
    met = np.abs(np.log(focus / person.median_m)) < 1.5 * person.log_sd
    number, focus = number[met], focus[met]
    light = person.ev + 1.2 * rng.standard_normal(200)
    rates = true_rates(person, number, focus, light)
    good = np.flatnonzero(rates >= 0.995 * rates.max())
    return [(float(number[row]), float(focus[row])) for row in rng.permutation(good)]


def _pressed(person, stop, ring, distance):
    from scipy.special import ndtr

    zone = sharp_zone(person.focal_mm, stop, ring, COC_MM)
    far = (
        (np.log(zone.far_limit_m) - np.log(distance)) / GUESS_SD if np.isfinite(zone.far_limit_m) else np.inf
    )
    return ndtr(far) - ndtr((np.log(zone.near_limit_m) - np.log(distance)) / GUESS_SD)
