"""The session file as laid out for a person: what is said already, what the files record, and the rest.

It is made of what was said before, in the order of the contract; keys that nobody has filled stand
as commented lines with their defaults.
"""

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from auditor.frames import captured_s
from auditor.settings import WALKING_SPEED_M_S
from auditor.text import natural_key
from auditor.units import format_distance, format_f_number

RUN_GAP_S = 10 * 60.0  # a pause long enough to have changed the ring
STEP_EV = 1.5  # a lasting step in exposure that begins another run
STEP_FRAMES = 3  # frames on each side that have to agree on it
RECORDED = "#: "  # begins the lines on what the files record; they are kept when the file is written again

_HEAD = """\
# Distances count from the sensor plane, as engraved on rings. Times are camera time.
# Easiest is the sheet beside this file: sheet.html. Or say here what was on the lens: one [[preset]] for each
# setting, and one [[stretch]] for each span of time, which begins with a frame's name or a time.
"""
_SINGLE = {
    "light": ("# iso_max = 6400", '# wanted_shutter = "1/500"', '# slowest_shutter = "1/125"'),
    "marks": (
        '# keepers = "selects"        # a folder of what you chose, relative to this file',
        "# min_rating = 1             # xmp:Rating at or above is a keeper",
        '# unmarked = "auto"          # or "not-kept", "keeper", "leave-out"',
        '# culled_to = "..."          # the last frame you looked at while choosing',
    ),
    "subject": (
        f"# speed_m_s = {WALKING_SPEED_M_S}           # how fast the people walked",
        "# guess_sd = 0.15            # relative error of a distance guessed by eye",
    ),
}
_EXAMPLES = {
    "camera": (
        "# [[camera]]",
        '# name = "body A"',
        '# sensor = "36x24"         # mm, or "1.5x"',
        '# clock_offset = "-1h"     # added to this camera\'s clock',
    ),
    "lens": (
        "# [[lens]]",
        '# name = "my 28"',
        '# focal_length = "28mm"',
        "# f_stops = [2.8, 4, 5.6, 8, 11, 16]",
        '# ring = ["0.7m", "1m", "1.2m", "1.5m", "2m", "3m", "5m", "inf"]',
    ),
    "preset": (
        "# [[preset]]",
        '# name = "first setting"',
        '# focal_length = "28mm"    # or lens = "my 28"',
        "# f_number = 8",
        '# focus_distance = "2.5m"',
    ),
    "stretch": ("# [[stretch]]", '# preset = "first setting"', '# from = "P1010001"', '# camera = "body A"'),
}  # fmt: skip
_REPEATED = tuple(_EXAMPLES)


@dataclass(frozen=True, slots=True)
class Run:
    """Frames of one camera without a pause of ten minutes or a lasting step in exposure; or a roll."""

    camera: str | None
    session: int
    starts_at: pd.Timestamp  # NaT for a roll, whose frames have no times
    ends_at: pd.Timestamp
    first: str  # names that are unique in the archive: the stem, or the path where stems repeat
    last: str
    rows: tuple[int, ...]  # in order
    complete: bool  # whether all of its frames have focal length, f-number and focus distance
    recorded: str  # what its frames say of the setting
    why: str  # what began it

    @property
    def is_roll(self) -> bool:
        """Whether its frames have no times."""
        return bool(pd.isna(self.starts_at))

    def __str__(self) -> str:
        frames = f"{len(self.rows)} frame{'s' if len(self.rows) != 1 else ''} from {_comment(self.first)}"
        if self.is_roll:
            return f"A roll, {frames} to {_comment(self.last)}: {self.recorded}"
        span = f"{self.starts_at:%Y-%m-%d %H:%M} to {self.ends_at:%H:%M}"
        return f"{span}, {frames}{f', {_comment(self.camera)}' if self.camera else ''}: {self.recorded}"


def find_runs(table: pd.DataFrame) -> list[Run]:
    """Find the runs in each camera's frames, in order of time; then its rolls, by folder and name.

    Reads ``file, session, camera, captured_at, exposure_time_s, iso`` and the setting.
    """
    times, session, names = captured_s(table), table["session"].to_numpy("int64"), frame_labels(table)
    known = table[["focal_length_mm", "f_number", "focus_distance_m"]].notna().all(axis=1)
    exposures = np.log2(table["exposure_time_s"].to_numpy("float64") * table["iso"].to_numpy("float64"))
    in_order = np.lexsort((table["file"].map(natural_key).to_numpy(str), times, session))
    cameras = table["camera"].fillna("").to_numpy()[in_order]
    runs: list[Run] = []
    for camera, rows in pd.Series(in_order).groupby(cameras, sort=False):
        order = rows.to_numpy()
        gaps = np.diff(times[order], prepend=np.nan)
        begins = np.diff(session[order], prepend=0) != 0
        starts = np.flatnonzero(begins | (gaps > RUN_GAP_S) | _steps(exposures[order]))
        for start, part in zip(starts, np.split(order, starts[1:]), strict=True):
            runs.append(
                Run(
                    camera=str(camera) or None,
                    session=int(session[part[0]]),
                    starts_at=table["captured_at"].iloc[part[0]],
                    ends_at=table["captured_at"].iloc[part[-1]],
                    first=str(names.iloc[part[0]]),
                    last=str(names.iloc[part[-1]]),
                    rows=tuple(part.tolist()),
                    complete=bool(known.iloc[part].all()),
                    recorded=_recorded(table.iloc[part]),
                    why=_why(gaps[start]),
                )
            )
    return sorted(runs, key=lambda run: (run.session, np.nan_to_num(times[run.rows[0]])))


def _why(gap_s: float) -> str:
    """What began a run."""
    if not gap_s > RUN_GAP_S:
        return "" if np.isnan(gap_s) else "other light"
    minutes = round(gap_s / 60)
    if minutes < 120:
        return f"after {minutes} min"
    return f"after {round(minutes / 60)} h" if minutes < 2880 else f"after {minutes // 1440} days"


def _steps(exposure_ev: np.ndarray) -> np.ndarray:
    """Where the exposure steps and stays: the frames before and after agree on either side."""
    steps = np.zeros(len(exposure_ev), dtype=bool)
    last = 0
    for i in range(STEP_FRAMES, len(exposure_ev) - STEP_FRAMES + 1):
        before, after = exposure_ev[i - STEP_FRAMES : i], exposure_ev[i : i + STEP_FRAMES]
        lasting = min(after) - max(before) >= STEP_EV or min(before) - max(after) >= STEP_EV
        if lasting and i - last >= STEP_FRAMES:
            steps[i], last = True, i
    return steps


def _recorded(frames: pd.DataFrame) -> str:
    parts = [
        _values(frames["focal_length_mm"], lambda mm: f"{mm:g} mm", "no focal length"),
        _values(frames["f_number"], format_f_number, "no f-number"),
        _values(frames["focus_distance_m"], lambda m: f"focus at {format_distance(m)}", "no focus distance"),
    ]
    return ", ".join(parts)


def _values(column: pd.Series, write: Any, missing: str) -> str:
    values = sorted({round(value, 2) for value in column.dropna().tolist()})
    if not values:
        return missing
    words = write(values[0]) if len(values) == 1 else f"{write(values[0])} to {write(values[-1])}"
    return words if column.notna().all() else f"{words} in {int(column.notna().sum())} of {len(column)}"


def frame_labels(table: pd.DataFrame) -> pd.Series:
    """Name for each frame that finds it alone: its stem, else its path from the source."""
    stems, repeated = _stems(table)
    return stems.where(~repeated, _paths(table))


def note_names(table: pd.DataFrame) -> pd.Series:
    """Name for each frame's row in the notes: its path, with ``./`` where others end alike."""
    return table["file"].where(~_stems(table)[1], _paths(table))


def _stems(table: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Stem of each frame, and whether others have the same."""
    stems = table["file"].str.rsplit("/", n=1).str[-1].str.rsplit(".", n=1).str[0]
    return stems, stems.str.casefold().duplicated(keep=False)


def _paths(table: pd.DataFrame) -> pd.Series:
    return table["file"].where(table["file"].str.contains("/", regex=False), "./" + table["file"])


def lines_of_runs(runs: Sequence[Run]) -> list[str]:
    """What the files record, in order, as comments for the session file."""
    lines = ["What the files record, in order:", *map(str, runs)] if runs else []
    return [RECORDED + line for line in lines]


def recorded_lines(text: str) -> list[str]:
    """Take the lines of :func:`lines_of_runs` out of a session file that was written before."""
    return [line for line in text.splitlines() if line.startswith(RECORDED)]


def session_as_toml(
    session: Mapping[str, Any],
    recorded: Iterable[str] = (),
    cameras: Iterable[str] = (),
    rolls: Iterable[str] = (),
) -> str:
    """Write a session file from what is said already; the rest stands in its comments and examples."""
    parts = [_HEAD.rstrip(), "\n".join(recorded)]
    found = {"camera": ("# name = ", list(cameras)), "stretch": ("# from = ", list(rolls))}
    for name in _REPEATED:
        entries = session.get(name, [])
        parts += ["\n".join([f"[[{name}]]", *_pairs(entry)]) for entry in entries]
        if not entries:
            key, names = found.get(name, ("", []))
            for written in names or [""]:
                lines = [
                    f"{key}{quoted(written)}" if written and line.startswith(key) else line
                    for line in _EXAMPLES[name]
                ]
                parts.append("\n".join(lines))
    rest = [name for name in session if name not in _REPEATED and name not in _SINGLE]
    for name in [*rest, *_SINGLE]:
        content = session.get(name, {})
        if not isinstance(content, Mapping):
            continue
        open_keys = [line for line in _SINGLE.get(name, ()) if line[2:].split(" =")[0] not in content]
        parts.append("\n".join([f"[{_key(name)}]", *_pairs(content), *open_keys]))
    return "\n\n".join(part for part in parts if part) + "\n"


def _pairs(entry: Mapping[str, Any]) -> list[str]:
    return [f"{_key(key)} = {_toml(value)}" for key, value in entry.items()]


def _key(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() and key.isascii() else quoted(key)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and not math.isfinite(value):
        return "inf" if value > 0 else "-inf" if value < 0 else "nan"
    if isinstance(value, int | float):
        return f"{value:g}" if float(f"{value:g}") == value else repr(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{_key(key)} = {_toml(item)}' for key, item in value.items())} }}"
    return quoted(str(value))


def quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are all valid there."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)
