"""The measured subjects of an archive: at what was pressed, how far away, in which light, with what verdict.

A subject is a press (a burst) with a distance in at least one frame. It stands for as many presses as its
frames were drawn from: within preset and mark, frames over frames with a distance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import Codes, burst_codes, combined_codes, in_preset, is_counted, is_keeper
from auditor.evidence.proportions import Floats
from auditor.evidence.ring_shift import known_shift_mm
from auditor.evidence.true_distance import likely_log_distance
from auditor.evidence.zones import flash_time_s
from auditor.frames import equal_as_one
from auditor.optics.exposure import exposure_value
from auditor.optics.lens import known
from auditor.settings import Settings

MOST_PRESSES = 20_000  # a fit takes whole sessions drawn by chance up to that number
INFINITE_M = 1e4  # farther than this nothing moves on the sensor
HANDBOOK_DIVISOR = 1442.0
HANDBOOK_DIAGONAL_MM = 43.267  # 36x24 mm, where the sensor is unknown
_LEAST = 1e-9
# Of the frame table, what decisions and verdicts are reached by.
READ = (
    "file", "session", "burst", "preset", "in_preset", "pressed", "counted_as", "lens", "focal_length_mm",
    "f_number", "focus_distance_m", "ring_shift_mm", "exposure_time_s", "iso", "flash", "flash_duration_s",
    "subject_distance_m", "subject_distance_rel_sd", "sensor_width_mm", "sensor_height_mm", "pixel_width",
    "pixel_height", "sharp", "sharp_seen", "sharp_shown_px", "coc_mm", "coc_criterion", "blur_mm",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Subjects:
    """Presses with a distance, n of them; arrays of shape (n,)."""

    focal_length_mm: Floats
    f_number: Floats
    focus_distance_m: Floats  # what the ring says
    shift_mm: Floats  # how much farther out the lens stands than that means
    exposure_time_s: Floats  # time and sensitivity NaN where unknown
    iso: Floats
    ev: Floats  # exposure value at ISO 100; NaN where unknown, or lit by flash
    flash_s: Floats  # how long a flash lit; infinite where none fired, NaN where nobody said
    handbook_mm: Floats  # handbook criterion of the sensor, in whose units tolerances are pooled
    log_m: Floats  # likely log distance from the sensor plane [m], and its standard deviation
    log_sd: Floats
    stated_log_m: Floats  # as stated, and its relative error
    error_sd: Floats
    weight: Floats  # presses that it stands for
    frames: Floats  # counted frames of the press; where there is none, it speaks in optics and verdicts alone
    hit: npt.NDArray[np.bool_]  # whether the press holds a keeper
    drawn_odds: Floats  # log chance to be drawn with a keeper over that without: samples show more keepers
    verdict: Floats  # 1 sharp, 0 soft, NaN unasked or unsure
    seen_at: Floats  # criterion of the size at which it was judged over that of the size asked for, else 1
    preset: Codes  # places in presets
    session: Codes
    lens: Codes  # places in lenses
    anyone: npt.NDArray[np.bool_]  # pressed without regard for the zone
    presets: tuple[str, ...]
    lenses: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.hit)

    def chosen(self, rows: npt.NDArray[np.bool_] | Codes | slice) -> Subjects:
        """Return some of the subjects."""
        names = [name for name in self.__slots__ if name not in ("presets", "lenses")]
        return replace(self, **{name: getattr(self, name)[rows] for name in names})

    @property
    def marked(self) -> Subjects:
        """Those whose marks count."""
        return self if self.frames.all() else self.chosen(self.frames > 0)

    @property
    def effective(self) -> float:
        """Number of equally weighted subjects worth as much (Kish, Survey Sampling 1965, p. 427)."""
        squares = float((self.weight**2).sum())
        return float(self.weight.sum() ** 2 / squares) if squares > 0 else 0.0


def weigh_by_mark(
    frames: pd.DataFrame, group: Codes, speaks: npt.NDArray[np.bool_]
) -> tuple[Floats, Codes, Floats]:
    """Weigh the frames that speak by those of their group and mark: not kept, keeper, not counted.

    One that does not count stands for no more than the others of its group do: it may be the only one of
    many walks. Returns the weight, shape (n,), NaN of those that do not speak; the cell of group and mark,
    shape (n,); and the share of each cell that speaks, shape (groups, 3). Reads ``counted_as``.
    """
    cell = 3 * group + np.where(is_counted(frames), is_keeper(frames), 2)
    cells = 3 * (int(group.max(initial=-1)) + 1)
    size, heard = (np.bincount(cell, rows, cells).reshape(-1, 3) for rows in (None, speaks))
    each = size / np.maximum(heard, 1)
    most = np.where(heard[:, :2] > 0, each[:, :2], 0.0).max(axis=1)
    each[:, 2] = np.where(most > 0, np.minimum(each[:, 2], most), each[:, 2])
    weight = np.where(speaks, each.ravel()[cell], np.nan)
    return weight, cell, np.where(size > 0, heard / np.maximum(size, 1), 1.0)


def pressed_at_anyone(frames: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Frames of a stretch pressed without regard for the zone; none where nobody said so."""
    return np.asarray(frames["pressed"].eq("anyone").fillna(False), dtype=bool)


def lens_codes(frames: pd.DataFrame) -> tuple[Codes, tuple[str, ...]]:
    """Number the lenses: by name and focal length, within 2 %; without a name by focal length alone."""
    focal = frames["focal_length_mm"].to_numpy(float)
    step = np.round(np.log(np.where(focal > 0, focal, 1.0)) / 0.02).astype(int)
    name = equal_as_one(frames["lens"].fillna(""))
    code = combined_codes(name, step)
    lenses = name[np.unique(code, return_index=True)[1]].tolist()
    names = []
    for place, lens in enumerate(lenses):
        own = f"{np.median(focal[code == place]):.3g} mm"
        names.append(f"{lens} {own}" if lens and lenses.count(lens) > 1 else lens or own)
    return code, tuple(names)


def frames_met(table: pd.DataFrame) -> pd.DataFrame:
    """Return the zone-focused frames that optics speak on, in the columns they read, with a fresh index.

    Whether their marks count or not: optics and verdicts need none. Reads ``in_preset, focal_length_mm``.
    """
    rows = in_preset(table) & (table["focal_length_mm"].to_numpy(float) > 0)
    return table.filter(READ).iloc[np.flatnonzero(rows)].reset_index(drop=True)


def gather_subjects(frames: pd.DataFrame, settings: Settings) -> Subjects:
    """Gather the presses among :func:`frames_met` that have a distance, in their order.

    Lens codes are those of :func:`lens_codes`; ``guess_sd`` of the settings is the relative error where none
    is stated. Reads :data:`READ`, but for ``blur_mm``.
    """
    stratum = combined_codes(frames["preset"].fillna(""), pressed_at_anyone(frames))
    weight, _, drawn = weigh_by_mark(frames, stratum, frames["subject_distance_m"].to_numpy(float) > 0)
    lens, lenses = lens_codes(frames)
    code = burst_codes(frames, "preset")
    size = np.bincount(code).astype(float)
    counted = np.bincount(code, is_counted(frames)).astype(float)
    keepers = np.bincount(code, is_keeper(frames))
    has = np.isfinite(weight) & known(frames["f_number"], frames["exposure_time_s"].fillna(1.0))
    rows = np.flatnonzero(has)
    # The middle frame in distance speaks for its press.
    distance = frames["subject_distance_m"].to_numpy(float)
    order = rows[np.lexsort((distance[rows], code[rows]))]
    press, first, count = np.unique(code[order], return_index=True, return_counts=True)
    middle = order[first + (count - 1) // 2]
    stands = np.bincount(code[order], weight[order])[press] / size[press]
    error = frames["subject_distance_rel_sd"].to_numpy(float)[middle]
    error = np.where(np.isfinite(error) & (error >= 0), error, settings.guess_sd)
    stated = np.log(np.minimum(distance[middle], INFINITE_M))
    preset, presets = pd.factorize(frames["preset"].fillna(""))
    group = (2 * preset + pressed_at_anyone(frames))[middle].astype(np.intp)
    mean, sd = likely_log_distance(stated, error, stands, group)
    number, time, iso = (frames[c].to_numpy(float)[middle] for c in ("f_number", "exposure_time_s", "iso"))
    flash_s = flash_time_s(frames)[middle]
    light = np.asarray(exposure_value(number, time, iso), dtype=float)
    diagonal = np.hypot(
        *(frames[f"sensor_{side}_mm"].to_numpy(float)[middle] for side in ("width", "height"))
    )
    return Subjects(
        focal_length_mm=frames["focal_length_mm"].to_numpy(float)[middle],
        f_number=number,
        focus_distance_m=frames["focus_distance_m"].to_numpy(float)[middle],
        shift_mm=known_shift_mm(frames)[middle],
        exposure_time_s=time,
        iso=iso,
        ev=np.where(np.isposinf(flash_s), light, np.nan),
        flash_s=flash_s,
        handbook_mm=np.where(np.isfinite(diagonal), diagonal, HANDBOOK_DIAGONAL_MM) / HANDBOOK_DIVISOR,
        log_m=mean,
        log_sd=sd,
        stated_log_m=stated,
        error_sd=error,
        weight=stands,
        frames=counted[press],
        hit=keepers[press] > 0,
        drawn_odds=_drawn_odds(drawn[stratum[middle]], counted[press], keepers[press]),
        verdict=_verdicts(frames, code, order, press, middle),
        seen_at=_seen_at(frames)[middle],
        preset=preset[middle].astype(np.intp),
        session=frames["session"].to_numpy(float, na_value=-1.0)[middle].astype(np.intp),
        lens=lens[middle],
        anyone=pressed_at_anyone(frames)[middle],
        presets=tuple(str(name) for name in presets),
        lenses=lenses,
    )


def sessions_at_random(subjects: Subjects, most: int = MOST_PRESSES, seed: int = 0) -> Subjects:
    """Whole sessions drawn by chance until ``most`` presses are reached; all where there are fewer."""
    if len(subjects) <= most:
        return subjects
    names, size = np.unique(subjects.session, return_counts=True)
    order = np.random.default_rng(seed).permutation(names.size)
    taken = order[np.cumsum(size[order]) <= most]
    if not taken.size:  # one session alone is larger
        rows = np.random.default_rng(seed).permutation(len(subjects))[:most]
        return subjects.chosen(np.sort(rows))
    return subjects.chosen(np.isin(subjects.session, names[taken]))


def _drawn_odds(drawn: Floats, size: Floats, keepers: npt.NDArray[np.integer]) -> Floats:
    """Log ratio of the chances that some frame of a press has a distance, with a keeper and without."""
    missed, kept_missed = 1 - drawn[:, 0], 1 - drawn[:, 1]
    held = np.maximum(keepers, 1)
    with_keeper = 1 - kept_missed**held * missed ** np.maximum(size - held, 0)
    without = 1 - missed**size
    return np.asarray(np.log(np.maximum(with_keeper, _LEAST) / np.maximum(without, _LEAST)))


def _verdicts(frames: pd.DataFrame, code: Codes, order: Codes, press: Codes, middle: Codes) -> Floats:
    """The verdict on each press's own frame, else on another of its frames with a distance."""
    said = frames["sharp"].map({"yes": 1.0, "no": 0.0}).to_numpy(float)
    judged = order[np.isfinite(said[order])][::-1]
    of_press = np.full(int(code.max(initial=-1)) + 1, np.nan)
    of_press[code[judged]] = said[judged]
    return np.where(np.isfinite(said[middle]), said[middle], of_press[press])


def _seen_at(frames: pd.DataFrame) -> Floats:
    """How much coarser the picture was shown than the size asked for would show it, shape (n,).

    A tolerance over the criterion of the size shown stays: two shown pixels, the finest pair of lines that
    they can draw (sampling theorem), against the frame's own criterion. Under the loupe its own pixels count.
    """
    width, height, own_width, own_height, shown, asked = (
        frames[name].to_numpy(float, na_value=np.nan)
        for name in (
            "sensor_width_mm", "sensor_height_mm", "pixel_width", "pixel_height", "sharp_shown_px", "coc_mm",
        )
    )  # fmt: skip
    at_pixels = frames["sharp_seen"].eq("pixels").fillna(False).to_numpy(bool)
    shown = np.where(at_pixels, np.fmax(own_width, own_height), shown)
    # A criterion measured from tolerances cannot be the size that they are asked for: the handbook's is.
    measured = frames["coc_criterion"].astype("str").str.startswith("measured").fillna(False).to_numpy(bool)
    asked = np.where(measured, np.hypot(width, height) / HANDBOOK_DIVISOR, asked)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = 2 * np.fmax(width, height) / shown / asked
    return np.where(np.isfinite(ratio) & (ratio > 0), ratio, 1.0)
