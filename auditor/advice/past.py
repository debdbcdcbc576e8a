"""What was advised after each walk, kept as one line of ``advice.jsonl``, and what became of it.

A line is the newest walk with a lens (of an archive without times the last roll, by its first frame), the
decision and its promise. A rerun renews lines that are as they were written (each carries the sum of its own
text); what a person changed, added or broke stays as it is.
"""

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from auditor.advice.lens_decision import Decisions, LensDecision
from auditor.advice.paired import SAME, Setting
from auditor.advice.promise import counts_promised, promise_kept, promise_sharp
from auditor.errors import FileFormatError, Problem
from auditor.evidence.bursts import burst_codes, in_preset, is_counted, is_keeper
from auditor.evidence.sharpness import JudgedFrames
from auditor.evidence.subjects import lens_codes
from auditor.intake.frame_index import SESSION_GAP_S
from auditor.intake.statements.door import read_bytes
from auditor.settings import Settings
from auditor.text import json_safe, shown_path
from auditor.units import format_distance, format_f_number

ADVICE_NAME = "advice.jsonl"
_FOLLOWED = [
    "file", "captured_at", "session", "burst", "preset", "in_preset", "lens", "focal_length_mm", "f_number",
    "focus_distance_m", "counted_as",
]  # fmt: skip
LARGEST_BYTES = 1 << 22
RING = 0.05  # of the vergence: rings this near are one, for cameras report them coarsely
GAP = timedelta(seconds=SESSION_GAP_S)  # walks begin farther apart: what began nearer is the same one
BROKEN = (ValueError, LookupError, TypeError, AttributeError, OverflowError, RecursionError)


# Beta a and b of a share and the level of its interval; of so many presses, the least and the most.
Promised = tuple[float, float, float, int, int, int]


@dataclass(frozen=True, slots=True)
class Advised:
    """One line: what was advised after the walk that began at ``walk``."""

    walk: pd.Timestamp  # NaT after a roll without times: nobody knows what was taken since
    lens: str
    kind: str
    settings: tuple[Setting, ...]
    kept: Promised | None
    sharp: Promised | None


@dataclass(frozen=True, slots=True)
class PastAdvice:
    """The file as it was found: its lines as they stand, and what they say."""

    lines: tuple[str, ...] = ()
    advised: tuple[Advised, ...] = ()
    sum: str = ""  # SHA-256 of its bytes; with problems and no sum it cannot be read, and is left alone
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Kept:
    """What a promise met: ``hits`` of ``of`` presses, where from ``low`` to ``high`` were promised."""

    hits: int
    of: int
    low: int
    high: int
    share: float  # of all presses, where what was judged was drawn and ``of`` is what it is worth


@dataclass(frozen=True, slots=True)
class Followed:
    """What became of one advice on the walks since, up to the one described."""

    advised: Advised
    walks: int  # with this lens; the presses too
    presses: int
    followed: int  # presses at what was advised
    kept: Kept | None  # of these, where they were counted, or judged, and something was promised
    sharp: Kept | None


def read_past(path: Path | None) -> PastAdvice:
    """Read what was advised; a line that cannot be used is a problem and stays in the file."""
    if path is None or not path.exists():
        return PastAdvice()
    try:
        data = read_bytes(path, LARGEST_BYTES)
        text = data.decode("utf-8-sig")
    except (FileFormatError, UnicodeDecodeError) as error:
        what = error.what if isinstance(error, FileFormatError) else f"{shown_path(path)} is not UTF-8 text."
        return PastAdvice(problems=[Problem(str(path), what, "Mend it, or move it away.")])
    advised, problems = [], []
    lines = tuple(line for line in text.splitlines() if line.strip())
    for number, line in enumerate(text.splitlines(), 1):
        if line.strip():
            try:
                advised.append(_read(json.loads(line)))
            except BROKEN:
                what = f"Line {number} tells no advice: it is not as this tool writes it."
                problems.append(
                    Problem(str(path), what, "Mend or delete that line; nothing else rests on it.")
                )
    return PastAdvice(lines, tuple(advised), hashlib.sha256(data).hexdigest(), problems)


def _read(said: Any) -> Advised:
    settings = []
    for one in said["settings"]:
        infinite = one.get("focus_distance_m_is_infinite") is True
        setting = Setting(_above(one["f_number"]), math.inf if infinite else _above(one["focus_distance_m"]))
        settings.append(setting)
    promise = said.get("promise") or {}
    shares = {}
    for name in ("kept", "sharp"):
        own = promise.get(name)
        shares[name] = _promised(own) if own else None
    undated = said["walk"] is None and isinstance(said["roll"], str)
    walk = pd.NaT if undated else pd.Timestamp(datetime.fromisoformat(said["walk"]))
    dated = undated or (1970 <= walk.year <= 2200 and walk.tzinfo is None)
    if not dated or not isinstance(said["lens"], str):
        raise ValueError
    return Advised(walk, said["lens"], str(said["kind"]), tuple(settings), shares["kept"], shares["sharp"])


def _promised(own: Any) -> Promised:
    presses, low, high = int(own["presses"]), int(own["low"]), int(own["high"])
    if not 0 <= low <= high <= presses:
        raise ValueError
    return _above(own["a"]), _above(own["b"]), min(_above(own["level"]), 0.999), presses, low, high


def _above(value: Any) -> float:
    if isinstance(value, bool) or not 0 < float(value) < 1e6:
        raise ValueError
    return float(value)


def renewed_text(past: PastAdvice, decisions: Decisions, table: pd.DataFrame, settings: Settings) -> str:
    """Text of the file after this audit: a line for each lens, its former one renewed where it is ours."""
    new, table = {}, table[["file", "session", "captured_at", "in_preset", "lens", "focal_length_mm"]]
    for weighed in decisions.lenses:
        walks = _of_lens(table, weighed.lens).groupby("session")
        if len(walks):
            walk, roll = walks["captured_at"].min().max(), str(walks["file"].first().iloc[-1])
            new[weighed.lens] = walk, roll, _line(weighed, walk, roll, settings)
    lines = []
    for line in past.lines:
        try:
            said = json.loads(line)
            walk, roll, own = new[said["lens"]]
            undated = said["walk"] is None and pd.isna(walk) and said["roll"] == roll
            if undated or abs(walk - datetime.fromisoformat(said["walk"])) <= GAP:
                del new[said["lens"]]
                line = _text(own) if said.get("sum") == _sum(said) else line
        except BROKEN:
            pass  # a person's own line, or a broken one
        lines.append(line)
    return "".join(f"{line}\n" for line in [*lines, *(_text(own) for *_, own in new.values())])


def _line(weighed: LensDecision, walk: pd.Timestamp, roll: str, settings: Settings) -> dict[str, Any]:
    decision, one = weighed.decision, weighed.subjects
    if decision.setting is not None:
        chosen: Sequence[Setting] = (decision.setting,)
    else:
        chosen = decision.latitude or [setting for setting, _ in weighed.habit[:1] if decision.kind == "keep"]
    promised, low, high = one.share_now, one.now_low, one.now_high
    if decision.kind == "change":
        promised, low, high = one.share_best, one.low, one.high
    shares = {
        "kept": promise_kept(weighed.level),
        "sharp": promise_sharp(promised, low, high, settings.confidence),
    }
    level = weighed.level
    rests_on = {"by": decision.rests_on, "walks": level.sessions, "presses": level.presses,
                "with_keeper": level.hits, "measured": weighed.measured,
                "verdicts": weighed.tolerances.sharp.count}  # fmt: skip
    return {
        "date": None if pd.isna(walk) else f"{walk:%Y-%m-%d}",
        "lens": weighed.lens,
        "advice": advice_text(chosen),
        "kind": decision.kind,
        "settings": [asdict(each) for each in chosen],
        "promise": {name: None if share is None else asdict(share) for name, share in shares.items()},
        "rests_on": rests_on,
        **({"walk": None, "roll": roll} if pd.isna(walk) else {"walk": walk.isoformat()}),
    }


def advice_text(settings: Sequence[Setting], units: str = "m") -> str:
    """Name what was advised, each stop with its ring from nearest to farthest; empty where nothing was."""
    named = []
    for stop, (nearest, farthest) in list(_by_stop(settings).items())[:2]:
        near, far = format_distance(nearest, units), format_distance(farthest, units)
        span = f", {near.removesuffix(f' {units}') if far.endswith(units) else near} to {far}"
        named.append(f"{format_f_number(stop)}{f' at {far}' if near == far else span}")
    return f"{'; '.join(named)} or alike" if len(_by_stop(settings)) > 2 else " or ".join(named)


def _by_stop(settings: Sequence[Setting]) -> dict[float, tuple[float, float]]:
    """Nearest and farthest ring [m] of each stop."""
    ends: dict[float, tuple[float, float]] = {}
    for one in settings:
        near, far = ends.get(one.f_number, (math.inf, 0.0))
        ends[one.f_number] = min(near, one.focus_distance_m), max(far, one.focus_distance_m)
    return ends


def _text(line: dict[str, Any]) -> str:
    safe = json_safe(line)
    return json.dumps(safe | {"sum": _sum(safe)}, ensure_ascii=True, allow_nan=False)


def _sum(said: dict[str, Any]) -> str:
    own = {name: value for name, value in said.items() if name != "sum"}
    return hashlib.sha256(json.dumps(own, sort_keys=True).encode()).hexdigest()[:16]


def _of_lens(table: pd.DataFrame, lens: str) -> pd.DataFrame:
    focused = table[in_preset(table) & table["focal_length_mm"].gt(0).to_numpy(bool)]
    code, names = lens_codes(focused)
    own = np.array([name == lens for name in names], dtype=bool)
    return focused[own[code]] if len(focused) else focused


def what_became(
    past: PastAdvice, table: pd.DataFrame, judged: JudgedFrames, walk: pd.Timestamp
) -> tuple[Followed, ...]:
    """Hold the last advice for each lens, given before a walk began, against the walks from then up to it."""
    last: dict[str, Advised] = {}
    for one in past.advised:
        if one.walk < walk - GAP and (one.lens not in last or last[one.lens].walk <= one.walk):
            last[one.lens] = one
    return tuple(found for one in last.values() if (found := _became(one, table, judged, walk)))


def _became(
    advised: Advised, table: pd.DataFrame, judged: JudgedFrames, walk: pd.Timestamp
) -> Followed | None:
    starts = table.groupby("session")["captured_at"].min()
    walks = starts.index[(starts > advised.walk + GAP) & (starts <= walk)]
    frames = _of_lens(table[_FOLLOWED], advised.lens)
    since = frames[frames["session"].isin(walks)].reset_index(drop=True)
    if not len(since):
        return None
    press = burst_codes(since, "preset")
    follows = np.full(len(since), not advised.settings)  # all where none was advised
    for stop, (near, far) in _by_stop(advised.settings).items():
        ring = (1 / since["focus_distance_m"]).between((1 - RING) / far, 1 / near / (1 - RING))
        follows |= (ring & ((since["f_number"] / stop - 1).abs() <= SAME)).to_numpy(bool)
    of = since[follows & is_counted(since)]
    hits = np.bincount(burst_codes(of, "preset"), is_keeper(of)) > 0
    seen = judged.frames
    own = seen["file"].isin(since["file"][follows]).to_numpy(bool)
    weight, yes = judged.sampled.weight[own], seen["sharp"].eq("yes").to_numpy(bool)[own]
    worth = int(weight.sum() ** 2 / (weight**2).sum() + 1e-9) if own.any() else 0
    sharp = float(weight @ yes / weight.sum()) if worth else 0.0
    return Followed(
        advised,
        walks=since["session"].nunique(),
        presses=np.unique(press).size,
        followed=np.unique(press[follows]).size,
        kept=_held(advised.kept, float(hits.sum()) / max(hits.size, 1), hits.size),
        sharp=_held(advised.sharp, sharp, worth),
    )


def _held(promised: Promised | None, share: float, of: int) -> Kept | None:
    if promised is None or not of:
        return None
    a, b, level, presses, low, high = promised
    if of != presses:
        low, high = counts_promised(a, b, of, level)
    return Kept(round(share * of), of, low, high, share)
