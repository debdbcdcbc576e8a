"""What can be said of a lens's engravings: its depth-of-field scale, and where its ring really focuses."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Annotated, Any

import typer

from auditor.cli import typed
from auditor.errors import UnitError
from auditor.units import parse_distance_m

if TYPE_CHECKING:
    from auditor.optics.ring_check import RingShift
    from auditor.show.cards import Flash
    from auditor.show.words.ring import EngravedScale

ScaleCoc = Annotated[
    str | None,
    typer.Option(
        "--scale-coc",
        help="Circle of confusion that the engraved depth-of-field scale was made for.",
        show_default="0.030mm, assumed",
    ),
]
Scale = Annotated[
    list[str] | None,
    typer.Option(
        "--scale",
        help="A reading off that scale: f-number, ring, near and far mark, such as 'f/8 8ft 3.5ft inf'. "
        "May be repeated.",
    ),
]
RingCheck = Annotated[
    list[str] | None,
    typer.Option(
        "--ring-check",
        help="Where a mark of the ring focuses by tape, such as 2m=2.2m or 10m=inf. May be repeated.",
    ),
]


def read_scale(scale_coc: str | None, readings: list[str] | None, bench: typed.Bench) -> EngravedScale:
    """Find the criterion that the scale was engraved for: stated, read off it, or assumed.

    Raises
    ------
    UnitError, SettingError
        If a value or a reading cannot be read.
    """
    from auditor.optics.scales import USUAL_SCALE_COC_MM, engraved_for
    from auditor.optics.sensors import parse_criterion, parse_sensor
    from auditor.show.words.ring import EngravedScale

    if scale_coc and readings:
        raise UnitError("--scale-coc and --scale say the same thing twice.", "Give one of them.")
    if scale_coc:
        criterion, full = parse_criterion(scale_coc), parse_sensor("36x24")
        coc_mm = float(criterion.coc_mm(full.diagonal_mm, width_mm=full.width_mm))
        if math.isnan(coc_mm):
            raise UnitError(f"--scale-coc {scale_coc!r} is no size.", "Give one like 0.030mm.")
        return EngravedScale(coc_mm, coc_mm, coc_mm, criterion.name)
    if not readings:
        return EngravedScale(USUAL_SCALE_COC_MM, USUAL_SCALE_COC_MM, USUAL_SCALE_COC_MM, "assumed")
    rows = [_reading(text, bench) for text in readings]
    number, ring, near, far = zip(*rows, strict=True)
    found = engraved_for(bench.focal_length_mm, number, ring, near, far, bench.distance_from)
    contrary = tuple(readings[at] for at in found.contradiction or ())
    return EngravedScale(found.coc_mm, found.low_mm, found.high_mm, "read off it", contrary)


def _reading(text: str, bench: typed.Bench) -> tuple[float, float, float, float]:
    parts = re.split(r"[\s,;]+", text.strip())
    if len(parts) != 4:
        raise UnitError(
            f"--scale {text!r} is not a reading.", "Write f-number, ring, near and far: 'f/8 8ft 3.5ft inf'."
        )
    number, *distances = parts
    ring, near, far = (bench.distance(part, "--scale") for part in distances)
    return typed.read_f_number(number), ring, near, far


def read_ring_checks(checks: list[str] | None, bench: typed.Bench) -> RingShift | None:
    """Find how far the lens stands from where its engravings put it; None where nobody measured.

    Raises
    ------
    UnitError, SettingError
        If a reading cannot be read or focused to.
    """
    from auditor.optics.ring_check import find_shift

    if not checks:
        return None
    pairs = []
    for text in checks:
        mark, equals, true = text.partition("=")
        if not equals:
            raise UnitError(
                f"--ring-check {text!r} is not a mark and a distance.", "Write it like 2m=2.2m or 10m=inf."
            )
        pairs.append((parse_distance_m(mark), parse_distance_m(true)))
    marks, focused = zip(*pairs, strict=True)
    return find_shift(bench.focal_length_mm, marks, focused, bench.distance_from)


def read_flash(guide_number: str | None, iso: float, f_stops: Any) -> Flash | None:
    """What a flash reaches at each f-number; None without a guide number.

    Raises
    ------
    UnitError
        If the guide number cannot be read.
    """
    from auditor.optics.flash import flash_range_m, flash_reach_m
    from auditor.show.cards import Flash

    if guide_number is None:
        return None
    number_m = read_guide_number_m(guide_number)
    reach = flash_reach_m(number_m, iso, f_stops)
    return Flash(number_m, iso, reach, *flash_range_m(reach))


def read_guide_number_m(text: str) -> float:
    """Read a guide number [m], at ISO 100.

    Raises
    ------
    UnitError
        If it cannot be read, or no flash has it.
    """
    number_m = parse_distance_m(text)
    if not number_m < 1000:
        raise UnitError(f"--guide-number {text!r} is no flash's.", "Write it like 32m or 105ft.")
    return number_m
