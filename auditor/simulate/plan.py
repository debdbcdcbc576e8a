"""When and where an invented photographer pressed, in which light, and what the camera made of it.

Sessions, stretches, bursts, clocks, file numbers; exposure time first, then sensitivity, in thirds of a stop.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from auditor.simulate.truth import Outing, Truth

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.intp]

FRAMES_A_SESSION = 200
FIRST_DAY = np.datetime64("2031-04-05T09:00:00", "us")
LARGEST_BURST = 5
LEAST_GAP_S = 7.0  # from press to press: longer than the longest burst and the two seconds that end it
MEAN_GAP_S = 28.0  # on top of the least
_PAUSE_S = (90.0, 400.0)  # before a stretch: the ring is turned, the photographer walks on
_MISFIRES = 0.02  # frames after a misfire that was deleted on the spot
# Third-stop series as engraved (common practice, no source).
SHUTTERS = np.array([1000, 800, 640, 500, 400, 320, 250, 200, 160, 125])
ISOS = np.array(
    [100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400,
     8000, 10000, 12800]
)  # fmt: skip
_WANTED = 3  # 1/500 s, in SHUTTERS
_LONGER_FROM, _SHORTER_FROM = 6.0, 2.0  # stops above ISO 100: 6400 and 400


@dataclass(frozen=True, slots=True)
class BurstPlan:
    """Where in the archive each burst lies; arrays of shape (bursts,)."""

    size: Rows  # frames of the burst
    # session, stretch, preset: session from 0, stretch from 0 over the whole archive, index into the
    # truth's presets
    session: Rows
    stretch: Rows
    preset: Rows
    looked_at: npt.NDArray[np.bool_]  # whether the photographer got so far while choosing
    anyone: npt.NDArray[np.bool_]  # whether whoever came was pressed at


def outing_of(truth: Truth, session: int) -> Outing:
    """The kind of walk of a session, from 0."""
    return truth.outings[session % len(truth.outings)]


def plan_walks(truth: Truth, frames: int, rng: np.random.Generator) -> BurstPlan:
    """Cut so many frames into bursts, sessions and stretches."""
    in_burst = rng.random(frames) < truth.burst_share
    size = np.where(in_burst, rng.integers(2, LARGEST_BURST + 1, frames), 1).astype(np.intp)
    bursts = int(np.searchsorted(np.cumsum(size), frames)) + 1
    size = size[:bursts]
    size[-1] -= size.sum() - frames
    kinds = len(truth.outings)
    sessions = max(kinds, round(frames / FRAMES_A_SESSION))
    session, place = np.divmod((np.cumsum(size) - size) * sessions / frames, 1.0)
    session = session.astype(np.intp)
    names = [preset.name for preset in truth.presets]
    part, preset = np.empty((2, bursts), dtype=np.intp)
    looked_at, anyone = np.empty((2, bursts), dtype=bool)
    for kind, outing in enumerate(truth.outings):
        mine = session % kinds == kind
        ends = np.cumsum([share for _, share in outing.stretches])
        part[mine] = np.searchsorted(ends[:-1] / ends[-1], place[mine], side="right")
        preset[mine] = np.array([names.index(name) for name, _ in outing.stretches])[part[mine]]
        looked_at[mine] = place[mine] < outing.looked_at
        anyone[mine] = np.isin(part[mine], outing.anyone)
    changes = (np.diff(part) != 0) | (np.diff(session) != 0)
    stretch = np.concatenate([[0], np.cumsum(changes)])
    return BurstPlan(size, session, stretch, preset, looked_at, anyone)


def press_times(plan: BurstPlan, rng: np.random.Generator) -> Floats:
    """Seconds from each session's beginning to the first frame of each burst, shape (bursts,)."""
    gap = LEAST_GAP_S + rng.exponential(MEAN_GAP_S, len(plan.size))
    changes = np.diff(plan.stretch, prepend=-1) > 0
    gap[changes] += rng.uniform(*_PAUSE_S, int(changes.sum()))
    since = np.cumsum(gap)
    return np.asarray(since - since[np.diff(plan.session, prepend=-1) > 0][plan.session])


def camera_times(
    session: Rows, time_s: Floats, truth: Truth, rng: np.random.Generator
) -> npt.NDArray[np.datetime64]:
    """Capture times as the cameras write them, to 1/100 s or to the second, shape (n,)."""
    sessions = int(session[-1]) + 1
    day_s = 86400.0 * (7 if sessions <= 500 else 1)
    begins_s = np.arange(sessions) * day_s + np.rint(rng.uniform(0, 5400, sessions))
    exact = np.array([outing.subseconds for outing in truth.outings])[session % len(truth.outings)]
    since = np.where(exact, np.floor(time_s * 100) / 100, np.floor(time_s))
    micro = np.rint((begins_s[session] + since) * 1e6).astype("int64")
    return np.asarray(FIRST_DAY + micro.astype("timedelta64[us]"))


def find_markers(session: Rows, stretch: Rows, truth: Truth) -> npt.NDArray[np.bool_]:
    """Frames before which the palm was held over the lens, since the preset changed, shape (n,)."""
    marks = np.array([outing.markers for outing in truth.outings])[session % len(truth.outings)]
    changed = (np.diff(stretch, prepend=stretch[:1]) != 0) & (np.diff(session, prepend=session[:1]) == 0)
    return np.asarray(marks & changed)


def file_numbers(
    session: Rows, marked: npt.NDArray[np.bool_], truth: Truth, rng: np.random.Generator
) -> Rows:
    """File numbers of each camera, shape (n,), with gaps for misfires deleted and for dark frames."""
    cameras = [outing.camera for outing in truth.outings]
    camera = np.array([sorted(set(cameras)).index(name) for name in cameras])[session % len(cameras)]
    deleted = np.where(rng.random(len(session)) < _MISFIRES, rng.integers(1, 3, len(session)), 0)
    number = np.empty(len(session), dtype=np.intp)
    for which in range(int(camera.max()) + 1):
        mine = camera == which
        number[mine] = 202 + 215 * which + np.cumsum(1 + deleted[mine] + marked[mine])
    return number


def market_light(time_s: Floats, session: npt.NDArray[np.intp], rng: np.random.Generator) -> Floats:
    """Exposure value at ISO 100 under a market's roof: clouds, skylights and dark corners, shape (n,)."""
    sessions = int(session[-1]) + 1
    base = rng.normal(9.6, 0.6, sessions)
    slow, quick = rng.uniform(0, 2 * np.pi, (2, sessions))
    clouds = 0.7 * np.sin(2 * np.pi * time_s / 5400 + slow[session])
    corners = 0.5 * np.sin(2 * np.pi * time_s / 700 + quick[session])
    return np.asarray(base[session] + clouds + corners + rng.normal(0, 0.3, len(time_s)))


def expose(exposure_value: Floats, f_number: Floats) -> tuple[Floats, Floats]:
    """Choose exposure time [s] and ISO for a given f-number: N^2/t = 2^EV ISO/100.

    1/500 s is wanted; the time grows to 1/125 s above ISO 6400 and shrinks to 1/1000 s below ISO 400.

    >>> expose(np.array([15.0, 10.0, 7.0]), np.array([8.0, 8.0, 8.0]))
    (array([0.001, 0.002, 0.008]), array([ 200., 3200., 6400.]))
    """
    stops = np.log2(f_number**2 * SHUTTERS[_WANTED]) - exposure_value  # above ISO 100, at the wanted time
    longer = np.clip(stops - _LONGER_FROM, 0, 2) - np.clip(_SHORTER_FROM - stops, 0, 1)
    shutter = np.clip(np.rint(_WANTED + 3 * longer), 0, len(SHUTTERS) - 1).astype(np.intp)
    rest = stops - (shutter - _WANTED) / 3
    iso = ISOS[np.clip(np.rint(3 * rest), 0, len(ISOS) - 1).astype(np.intp)]
    return 1.0 / SHUTTERS[shutter], iso.astype("float64")
