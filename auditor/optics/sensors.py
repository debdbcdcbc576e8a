"""Sensor sizes by their trade names, and the criteria that turn them into a circle of confusion.

No standard fixes the circle of confusion: published values for one 36x24 mm frame run from 0.010 to 0.05 mm.
So a criterion always carries its name and its source, and its value is always reported beside it.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias, TypeGuard

import numpy as np
import numpy.typing as npt

from auditor.errors import FileFormatError, SettingError, SourceError, UnitError
from auditor.optics.blur import allowance_mm
from auditor.optics.lens import Floats
from auditor.units import parse_distance_m, parse_length_mm

HANDBOOK_DIVISOR = 1442.0  # 0.030 mm on 36x24 mm
PRINT_WIDTH_MM = 254.0  # 8 x 10 inch, the print that handbook values are derived from
PRINT_VIEWED_MM = 250.0
PRINT_ACUITY = 5.0  # line pairs/mm resolved at 25 cm
NEAR_POINT_MM = 250.0
LARGEST_AUDIT_BYTES = 1 << 30

# Width and height in mm. From memory: the usual sizes under these names; makers differ by some 2 %.
FORMATS = {
    "full frame": (36.0, 24.0),
    "half frame": (24.0, 18.0),
    "4/3 inch": (17.3, 13.0),
    "1 inch": (13.2, 8.8),
    "2/3 inch": (8.8, 6.6),
    "1/1.7 inch": (7.6, 5.7),
    "1/2.3 inch": (6.17, 4.55),
    "44x33": (43.8, 32.9),
    "6x4.5": (56.0, 41.5),
    "6x6": (56.0, 56.0),
    "6x7": (70.0, 56.0),
    "6x9": (84.0, 56.0),
}


@dataclass(frozen=True, slots=True)
class Sensor:
    """The picture area behind the lens, by its sides."""

    width_mm: float
    height_mm: float

    @property
    def diagonal_mm(self) -> float:
        """Its diagonal [mm]."""
        return math.hypot(self.width_mm, self.height_mm)


def parse_sensor(text: str) -> Sensor:
    """Read a sensor size: millimetres, a crop factor, or a trade name (see :data:`FORMATS`).

    A crop factor compares diagonals with 36x24 mm, and the same 3:2 shape is taken. The rollfilm names such
    as ``6x6`` are in centimetres, as the trade has them, and are not taken for millimetres.

    Raises UnitError if it is none of these, or a side is not between 1 and 300 mm.

    >>> parse_sensor("36x24"), parse_sensor("1.5x"), parse_sensor("6x6").width_mm
    (Sensor(width_mm=36.0, height_mm=24.0), Sensor(width_mm=24.0, height_mm=16.0), 56.0)
    """
    cleaned = re.sub(r"[\s_]+", " ", text.strip().lower().replace("×", "x"))
    name = re.sub(r"(\d)(?:-| )?(?:inch|in|\")$", r"\1 inch", cleaned)
    for candidate in (cleaned, name, cleaned.replace("-", " ")):
        if candidate in FORMATS:
            return Sensor(*FORMATS[candidate])
    number = r"(\d+(?:\.\d+)?)"
    if sides := re.fullmatch(rf"{number} ?(?:mm)? ?x ?{number} ?(?:mm)?", cleaned):
        sensor = Sensor(float(sides[1]), float(sides[2]))
    elif (crop := re.fullmatch(rf"{number} ?x", cleaned)) and float(crop[1]) > 0:
        sensor = Sensor(36.0 / float(crop[1]), 24.0 / float(crop[1]))
    else:
        known = ", ".join(FORMATS)
        raise UnitError(f"{text!r} is not a sensor size.", f"Write it like 36x24, 1.5x or a format: {known}.")
    if not all(1 <= side <= 300 for side in (sensor.width_mm, sensor.height_mm)):
        raise UnitError(
            f"{text!r} was read as {sensor.width_mm:g} x {sensor.height_mm:g} mm, which is no sensor.",
            "Write width and height in millimetres, like 36x24.",
        )
    return sensor


Rule: TypeAlias = Callable[[Floats, Floats, Floats, Floats], Floats]


@dataclass(frozen=True, slots=True)
class Criterion:
    """A rule for the circle of confusion."""

    name: str  # as it is written, normalised
    source: str  # of the rule, in a few words
    rule: Rule
    interval_mm: tuple[float, float] | None = None  # what a measured tolerance may be

    def coc_mm(
        self,
        diagonal_mm: npt.ArrayLike,
        pixel_pitch_mm: npt.ArrayLike = np.nan,
        *,
        width_mm: npt.ArrayLike | None = None,
        other_blur_mm: npt.ArrayLike = 0.0,
    ) -> Floats:
        """Circle of confusion on a sensor [mm]; NaN where what the rule needs is unknown, or nothing is left.

        ``pixel`` alone needs the distance between pixels; ``print`` and ``web`` take the long side, by
        default that of the 3:2 shape; only ``measured`` takes off diffraction and motion, the other blur.

        Raises SettingError if the criterion is ``measured`` and no keeper tolerance has been given.
        """
        diagonal = np.asarray(diagonal_mm, dtype=float)
        width = diagonal * (3 / math.sqrt(13)) if width_mm is None else np.asarray(width_mm, dtype=float)
        pitch = np.asarray(pixel_pitch_mm, dtype=float)
        with np.errstate(all="ignore"):
            coc = self.rule(diagonal, pitch, width, np.asarray(other_blur_mm, dtype=float))
            return np.where(coc > 0, coc, np.nan)[()]


def parse_criterion(text: str) -> Criterion:
    """Read a criterion for the circle of confusion.

    ``handbook``, ``diagonal/K``, a value such as ``0.025mm``, ``print`` or ``print=SIDE,VIEWED,ACUITY`` (the
    print's long side and the distance it is seen from, such as ``print=60cm,1m``), ``web=PIXELS`` (the long
    side as shown on a screen), ``pixel`` or ``pixel=K``, ``measured`` or ``measured=PATH`` of an audit.json.
    After ``print`` and ``web``, ``crop=50%`` says that this part of the picture's long side is kept.

    Raises UnitError if it is none of these; SourceError or FileFormatError if the audit.json cannot be read,
    or holds no keeper tolerance.

    >>> round(float(parse_criterion("handbook").coc_mm(43.267)), 4)
    0.03
    >>> float(parse_criterion("0.025mm").coc_mm(43.267)), parse_criterion("pixel=2").name
    (0.025, 'pixel=2')
    """
    cleaned = text.strip()
    kind, _, value = (part.strip() for part in cleaned.partition("="))
    kind = kind.lower().replace(" ", "")
    if kind == "handbook" and not value:
        return _by_diagonal("handbook", HANDBOOK_DIVISOR, "handbook convention, 0.030 mm on 36x24 mm")
    if kind.startswith("diagonal/"):
        divisor = _positive(kind.removeprefix("diagonal/"), text)
        return _by_diagonal(f"diagonal/{divisor:g}", divisor, "a part of the sensor's diagonal")
    if kind in ("print", "web"):
        return _by_size(kind, value)
    if kind == "pixel":
        factor = _positive(value or "1", text)
        name = "pixel" if factor == 1 else f"pixel={factor:g}"
        return Criterion(
            name, "pixels looked at one by one", lambda diagonal, pitch, *_: factor * pitch + 0 * diagonal
        )
    if kind == "measured":
        return measured(*_read_tolerance_mm(Path(value))) if value else measured(None)
    try:
        coc = parse_length_mm(cleaned)
    except UnitError as error:
        if "has no unit" in error.what:
            raise
        raise UnitError(
            f"{text!r} is not a criterion for the circle of confusion.",
            "Use handbook, diagonal/1500, 0.025mm, print=60cm,1m, web=2048, pixel, or "
            "measured=PATH/audit.json.",
        ) from None
    return Criterion(f"{coc:g}mm", "a value you gave", lambda diagonal, *_: coc + 0 * diagonal)


def measured(tolerance_mm: float | None, interval_mm: tuple[float, float] | None = None) -> Criterion:
    """The criterion of a photographer's own tolerance [mm] with its interval; None while it is unknown.

    The tolerance is about all blur together, so diffraction and motion are taken off in squares.
    """

    def rule(diagonal: Floats, _pitch: Floats, _width: Floats, other: Floats) -> Floats:
        if tolerance_mm is None:
            raise SettingError(
                "The measured circle of confusion needs a keeper tolerance, and there is none here.",
                "Give an audit's result: --coc measured=PATH/audit.json.",
            )
        return allowance_mm(tolerance_mm + 0 * diagonal, other)

    return Criterion("measured", "keeper tolerance measured from an archive", rule, interval_mm)


def _by_diagonal(name: str, divisor: float, source: str) -> Criterion:
    return Criterion(name, source, lambda diagonal, *_: diagonal / divisor)


def _by_size(kind: str, value: str) -> Criterion:
    """By the size of the result: on paper, or on a screen; either of a part of the picture."""
    sizes = [part.strip() for part in value.split(",") if part.strip()]
    crops = [part for part in sizes if part.lower().startswith("crop")]
    sizes = [part for part in sizes if part not in crops]
    if len(crops) > 1 or len(sizes) > (3 if kind == "print" else 1) or (kind == "web" and not sizes):
        raise UnitError(
            f"'{kind}={value}' does not say how large the result is.",
            "Write print=LONG SIDE,SEEN FROM,ACUITY or web=PIXELS, and crop=50% behind it.",
        )
    kept = _share(crops[0], value) if crops else 1.0
    behind = f",crop={100 * kept:g}%" if crops else ""
    of = f", of {100 * kept:g} % of the picture's long side" if crops else ""
    if kind == "web":
        pixels = _positive(sizes[0], f"web={value}")
        return Criterion(
            f"web={pixels:g}{behind}",
            f"two shown pixels, the finest pair of lines that {pixels:g} pixels can draw (sampling){of}",
            lambda _diagonal, _pitch, width, _other: 2 * kept * width / pixels,
        )
    long_side, viewed = (
        _size_mm(sizes[place]) if len(sizes) > place else usual
        for place, usual in ((0, PRINT_WIDTH_MM), (1, PRINT_VIEWED_MM))
    )
    acuity = _positive(sizes[2], f"print={value}") if len(sizes) > 2 else PRINT_ACUITY
    on_print = viewed / NEAR_POINT_MM / acuity
    return Criterion(
        f"print={long_side / 10:g}cm,{viewed / 10:g}cm,{acuity:g}{behind}",
        f"{acuity:g} line pairs/mm at 25 cm, on a print {long_side / 10:g} cm long seen from "
        f"{viewed / 10:g} cm{of}",
        lambda _diagonal, _pitch, width, _other: on_print * kept * width / long_side,
    )


def _size_mm(text: str) -> float:
    """A print's side, or the distance it is seen from [mm]."""
    size = 1000 * parse_distance_m(text)
    if math.isinf(size):
        raise UnitError(f"{text!r} is not the size of a print.", "Write it like 60cm or 1m.")
    return round(size, 6)


def _share(text: str, value: str) -> float:
    """The part of a picture's long side that is kept, above 0 and at most 1."""
    match = re.fullmatch(r"crop\s*=\s*(\d+(?:\.\d+)?)\s*%", text.lower())
    if match is None or not 0 < float(match[1]) <= 100:
        raise UnitError(f"{text!r} in {value!r} is not a part of the picture.", "Write it like crop=50%.")
    return float(match[1]) / 100


def _positive(number: str, text: str) -> float:
    try:
        value = float(number)
    except ValueError:
        value = math.nan
    if not 0 < value < math.inf:
        raise UnitError(f"{number!r} in {text!r} is not a number above zero.", "Write it like diagonal/1500.")
    return value


def _read_tolerance_mm(path: Path) -> tuple[float, tuple[float, float] | None]:
    """Tolerance of an audit, and its interval where it has one [mm]."""
    import json  # only here, so that a typed zone starts sooner

    hint = "Name the audit.json of an audit."
    try:
        if path.exists() and (not path.is_file() or path.stat().st_size > LARGEST_AUDIT_BYTES):
            raise FileFormatError(f"{path} is no audit's result: no ordinary file, or too large.", hint)
        audit = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise SourceError(f"{path} cannot be read: {error.strerror}.", hint) from None
    except (ValueError, RecursionError):
        raise FileFormatError(f"{path} is not JSON.", hint) from None
    tolerance = audit.get("tolerance") if isinstance(audit, dict) else None
    named: dict[str, Any] = tolerance if isinstance(tolerance, dict) else {}
    value, low, high = (named.get(key) for key in ("blur_mm", "low", "high"))
    if not _is_length(value):
        raise FileFormatError(
            f"{path} holds no keeper tolerance (tolerance.blur_mm).",
            "Run auditor audit on an archive with marks and subject distances first.",
        )
    interval = (float(low), float(high)) if _is_length(low) and _is_length(high) else None
    return float(value), interval


def _is_length(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0 < value < math.inf
