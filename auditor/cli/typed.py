"""Typed settings of a lens, with the check that a unit was not mistaken."""

import math
import re
from collections.abc import Sequence
from dataclasses import replace

from auditor.errors import SettingError, UnitError
from auditor.optics.bench import Bench
from auditor.optics.ring_check import find_shift
from auditor.optics.rings import FULL_STOPS, STOPS, usual_ring_m, within_reach
from auditor.optics.scales import ASSUMED_SCALE, EngravedScale, engraved_for
from auditor.optics.sensors import parse_criterion, parse_sensor
from auditor.optics.speeds import SPEEDS
from auditor.units import (
    METRES_PER_FOOT,
    parse_distance_m,
    parse_exposure_time_s,
    parse_f_number,
    parse_focal_length_mm,
)

_SPEED_M_S = {"m/s": 1.0, "km/h": 1 / 3.6, "ft/s": METRES_PER_FOOT, "mph": 5280 * METRES_PER_FOOT / 3600}
_LONGEST_M = 10_000.0
_WIDEST_F, _SMALLEST_F = 0.5, 512.0  # a lens in air reaches f/0.5; pinholes reach about f/300


def read_bench(
    focal_length: str,
    sensor: str,
    coc: str,
    distance_from: str,
    units: str | None,
    pixels_wide: int | None,
    scale_coc: str | None,
    scale: list[str] | None,
    ring_check: list[str] | None,
    ring: str | None = None,
    distances: Sequence[str | None] = (),
) -> Bench:
    """Read what is stated of a lens; without ``units``, results come in that of the first typed distance."""
    if units not in (None, "m", "ft"):
        raise UnitError(f"--units {units!r} is neither m nor ft.", "Give m or ft.")
    if distance_from not in ("sensor", "lens"):
        raise UnitError(
            f"--distance-from {distance_from!r} is neither sensor nor lens.", "Give sensor or lens."
        )
    area = parse_sensor(sensor)
    focal = parse_focal_length_mm(focal_length)
    if not area.diagonal_mm / 10 < focal < 100 * area.diagonal_mm:
        raise UnitError(
            f"--focal-length {focal_length!r} was read as {focal:g} millimetres, which fits no lens for a "
            f"sensor of {area.width_mm:g} x {area.height_mm:g} mm.",
            "Check the unit (28mm, 2.8cm), or give the sensor with --sensor.",
        )
    bench = Bench(
        focal_length_mm=focal,
        sensor=area,
        criterion=parse_criterion(coc),
        pixel_pitch_mm=max(area.width_mm, area.height_mm) / pixels_wide if pixels_wide else math.nan,
        distance_from="sensor" if distance_from == "sensor" else "lens",
        units=units or units_in_use(ring, *distances),
    )
    bench = replace(bench, ring_m=tuple(_read_ring(ring, bench)), scale=_read_scale(scale_coc, scale, bench))
    if ring_check:
        marks, true = zip(*map(_read_check, ring_check), strict=True)
        shift = find_shift(focal, marks, true, bench.distance_from)
        bench = replace(bench, shift=shift, checks=tuple(ring_check))
    return replace(bench, readings=tuple(scale or ()))


def read_distance(text: str, option: str, bench: Bench) -> float:
    """Read a distance that the lens can be set to, or that a subject can stand at [m]."""
    metres = parse_distance_m(text)
    if _LONGEST_M < metres < math.inf:
        raise UnitError(
            f"{option} {text!r} was read as {metres:g} metres, farther than any ring goes.",
            "Check the unit, or write inf.",
        )
    from_sensor = bench.distance_from == "sensor"
    plane, times, own = ("sensor plane", 4, "4 times its") if from_sensor else ("lens", 1, "its")
    least = times * bench.focal_length_mm / 1000
    if metres <= least:
        raise SettingError(
            f"{option} {text!r} was read as {metres:g} metres from the {plane}. A "
            f"{bench.focal_length_mm:g} mm lens focuses nothing within {least:g} metres, {own} focal length.",
            "Check the unit: distances are written like 2.5m, 250cm or 8ft.",
        )
    return metres


def read_f_number(text: str) -> float:
    """Read an f-number; ``UnitError`` for one that no lens has."""
    value = parse_f_number(text)
    if not _WIDEST_F <= value <= _SMALLEST_F:
        raise UnitError(f"{text!r} was read as f/{value:g}, which no lens has.", "Write it like 8 or f/8.")
    return value


def read_f_stops(text: str | None) -> list[float]:
    """Read ``full``, ``half``, ``third`` or a list of f-numbers, ascending; None gives the full stops."""
    if text is None:
        return list(FULL_STOPS)
    if text.strip().lower() in STOPS:
        return list(STOPS[text.strip().lower()])
    parts = [part for part in re.split(r"[,;\s]+", text.strip()) if part]
    if not parts:
        raise UnitError(f"--f-stops {text!r} holds no f-number.", "Write them like 2.8,4,5.6,8.")
    return sorted({read_f_number(part) for part in parts})


def _read_ring(text: str | None, bench: Bench) -> list[float]:
    """Engravings [m], ascending; None gives the usual ones of the unit in use."""
    if text is None:
        return list(within_reach(usual_ring_m(bench.units), bench.focal_length_mm))
    parts = split_list(text)
    if not parts:
        raise UnitError(f"--ring {text!r} holds no engraving.", "Write them like 0.7m,1m,2m,inf.")
    if len({unit for part in parts if (unit := _unit_in(part))}) > 1:
        raise UnitError(f"--ring {text!r} mixes metres and feet.", "Give one of the ring's two scales.")
    return sorted({read_distance(part, "--ring", bench) for part in parts})


def split_list(text: str) -> list[str]:
    """The parts of a list with commas or semicolons."""
    return [part.strip() for part in text.replace(";", ",").split(",") if part.strip()]


def _read_scale(scale_coc: str | None, readings: list[str] | None, bench: Bench) -> EngravedScale:
    """The criterion that the scale was engraved for: stated, read off it, or assumed."""
    if scale_coc and readings:
        raise UnitError("--scale-coc and --scale say the same thing twice.", "Give one of them.")
    if scale_coc:
        criterion, full = parse_criterion(scale_coc), parse_sensor("36x24")
        coc_mm = float(criterion.coc_mm(full.diagonal_mm, width_mm=full.width_mm))
        if math.isnan(coc_mm):
            raise UnitError(f"--scale-coc {scale_coc!r} is no size.", "Give one like 0.030mm.")
        return EngravedScale(coc_mm, coc_mm, coc_mm, criterion.name)
    if not readings:
        return ASSUMED_SCALE
    number, ring, near, far = zip(*(_read_off_scale(text, bench) for text in readings), strict=True)
    return engraved_for(bench.focal_length_mm, number, ring, near, far, bench.distance_from)


def _read_off_scale(text: str, bench: Bench) -> tuple[float, float, float, float]:
    parts = re.split(r"[\s,;]+", text.strip())
    if len(parts) != 4:
        raise UnitError(
            f"--scale {text!r} is not a reading.", "Write f-number, ring, near and far: 'f/8 8ft 3.5ft inf'."
        )
    ring, near, far = (read_distance(part, "--scale", bench) for part in parts[1:])
    return read_f_number(parts[0]), ring, near, far


def _read_check(text: str) -> tuple[float, float]:
    """A mark of the ring, and where it focuses by tape [m]."""
    mark, equals, true = text.partition("=")
    if not equals:
        raise UnitError(
            f"--ring-check {text!r} is not a mark and a distance.", "Write it like 2m=2.2m or 10m=inf."
        )
    return parse_distance_m(mark), parse_distance_m(true)


def read_guide_number_m(text: str) -> float:
    """Read a guide number [m], at ISO 100; ``UnitError`` for one that no flash has."""
    number_m = parse_distance_m(text)
    if not number_m < 1000:
        raise UnitError(f"--guide-number {text!r} is no flash's.", "Write it like 32m or 105ft.")
    return number_m


def check_flash(guide_number: str | None, iso: float | None) -> None:
    """Refuse an ISO for the flash where there is no flash."""
    if iso is not None and not guide_number:
        raise UnitError("--iso is for a flash, and none is stated.", "Give --guide-number, such as 32m.")


def units_in_use(*typed: str | None) -> str:
    """The unit to answer in: that of the first typed distance, else metres.

    >>> units_in_use(None, "inf", "6ft 6in"), units_in_use("inf")
    ('ft', 'm')
    """
    return next((unit for text in typed if text and (unit := _unit_in(text))), "m")


def _unit_in(text: str) -> str:
    """``ft`` or ``m`` of a typed distance; empty where it has none."""
    if re.search(r"ft|in(?!f)|['\"′″]", text.lower()):
        return "ft"
    return "m" if re.search(r"\dc?m?m", text.lower().replace(" ", "")) else ""


def read_seconds(text: str | None) -> float | None:
    """Read an exposure time or a lag [s], where one was typed."""
    return parse_exposure_time_s(text) if text else None


def read_speed_m_s(text: str) -> float:
    """Read a speed such as ``1.3m/s``, ``5km/h``, ``4ft/s``, ``3mph`` or ``jogging``.

    >>> read_speed_m_s("1.3m/s"), read_speed_m_s("36 km/h")
    (1.3, 10.0)
    """
    if text.strip().lower() in SPEEDS:
        return SPEEDS[text.strip().lower()]
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(m/s|km/h|ft/s|mph)", text.strip().lower())
    if match is None:
        raise UnitError(
            f"{text!r} is not a speed with its unit.",
            f"Write it like 1.3m/s, 5km/h, 3mph, or {', '.join(SPEEDS)}.",
        )
    return float(match[1]) * _SPEED_M_S[match[2]]
