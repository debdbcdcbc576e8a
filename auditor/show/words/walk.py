"""What is said of one walk and of walks over time: screen and page say the same."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any, NamedTuple

import pandas as pd

from auditor.advice.past import Followed, Kept, advice_text
from auditor.advice.this_walk import Diary
from auditor.evidence.drift import Drift
from auditor.evidence.usual import FEWEST_WALKS, LESS, MORE, NO_USUAL, WITHIN
from auditor.show.page.model import Said, Telling, said
from auditor.show.words import causes
from auditor.show.words.figures import counted, listed
from auditor.show.words.plain import of_100
from auditor.show.words.sessions import when
from auditor.text import collapse
from auditor.units import format_distance, format_f_number

MOST_PRESETS, MOST_NAMES = 2, 3
USUAL = "within your usual"
PLACES = {
    MORE: "better than 19 of 20 such walks would be",
    LESS: "worse than 19 of 20 such walks would be",
    WITHIN: USUAL,
}
_PLAIN = {"keeper": "kept", "not kept": "left", "unmarked": "not marked"}
_SIDES = {"near": "stood too near", "in": "in the zone", "far": "stood too far"}
_DRIFTS = {
    "kept": "The share you keep {way}: from about {first} of 100 presses to {last}",
    "distance": "You meet people {way}: from about {first} to {last}",
    "f_number": "You {way}: from about {first} to {last}",
    "ring": "You set the ring {way}: from about {first} to {last}",
    "presses": "You press {way} on a walk: from about {first} times to {last}",
}
_WAYS = {
    "kept": ("falls", "rises"),
    "distance": ("nearer", "farther"),
    "f_number": ("open up", "stop down"),
    "ring": ("nearer", "farther"),
    "presses": ("less", "more"),
}


class Row(NamedTuple):
    """One line: what, how much, the interval of the usual, and where the walk lies in it."""

    what: str
    value: str
    usual: str
    place: str


class WalkTold(NamedTuple):
    """One walk in words, and its frames to look at."""

    title: str
    set_up: Said
    rows: tuple[Row, ...]
    notes: tuple[tuple[str, Said], ...]
    frames: tuple[Telling, ...]


def tell_walk(diary: Diary, files: pd.Series) -> WalkTold:
    """Tell of the diary's walk; ``files`` are those of the frame table, whose rows the frames are.

    Returns
    -------
    WalkTold
        ``notes``: what became of advice, what drifts, what deserves a second look, each under its label.
    """
    place = {file: row for row, file in reversed(list(enumerate(files)))}
    notes = [("Last time", said(partial(followed, one))) for one in diary.followed]
    notes += [("Drift", said(partial(drift, one))) for one in diary.drifts if one.shown]
    if diary.again:
        names = collapse([short(file) for file in diary.again], MOST_NAMES)
        look = f"Passed over, though sharp in the zone: {names}."
        notes.append(("Again", Said(look, look)))
    return WalkTold(
        title=f"{'This walk' if diary.row == len(diary.walks) - 1 else 'The walk'}, {when(diary.walk)}",
        set_up=said(partial(set_up, diary)),
        rows=tuple(rows(diary)),
        notes=tuple(notes),
        frames=tuple(
            Telling(
                place[row.file],
                why(row.why),
                said(partial(format_distance, row.subject_distance_m)),
            )
            for row in diary.telling.itertuples()
        ),
    )


def short(file: str) -> str:
    """Name of a file without its folders."""
    return file.rpartition("/")[2]


def why(kind: str) -> str:
    """Say why a frame tells something."""
    if kind in causes.TELLING:
        return causes.TELLING[kind]
    mark, _, side = kind.partition(", ")
    return f"{_PLAIN[mark]}, {_SIDES[side]}"


def set_up(diary: Diary, units: str) -> str:
    """Say what was set, and what no walk before had."""
    if not len(diary.presets):
        return "No frame of this walk has a whole zone setting."
    parts = [
        f"{format_f_number(row.f_number)} at {format_distance(row.focus_distance_m, units)} ({row.presses})"
        for row in diary.presets.itertuples()
    ]
    parts[0] = parts[0].replace(")", " presses)")
    more = len(parts) - MOST_PRESETS
    text = f"Set {listed([*parts[:MOST_PRESETS], *([f'{more} more'] if more > 0 else [])])}."
    new = collapse([f"{kind} {name}" for kind, name in diary.new], MOST_NAMES)
    return f"{text} New: {new}." if new else text


def rows(diary: Diary) -> list[Row]:
    """Say how many presses, and what share was in the zone, sharp and kept, each against what was usual."""
    walk = diary.walk
    found = []
    if walk["presses"]:
        low, high = walk["presses_low"], walk["presses_high"]
        place = {MORE: "more than 19 of 20 walks", LESS: "fewer than 19 of 20 walks"}
        found.append(_row("presses", f"{walk['presses']}", f"{low:.0f} to {high:.0f}", walk, PLACES | place))
    for name, label, unseen in (
        ("zone", "in zone", "no distance known"),
        ("sharp", "sharp", "not judged"),
        ("kept", "kept", "not chosen yet"),
    ):
        seen = walk[f"{name}_seen"]
        if not seen and not (diary.walks[f"{name}_seen"] > 0).any():
            continue
        low, high = walk[f"{name}_low"], walk[f"{name}_high"]
        span = f"{of_100(low)} to {of_100(high)} of 100"
        how = "judged" if name == "sharp" else "measured"
        value = f"about {of_100(walk[f'{name}_share'])} of 100 ({seen} {how})"
        if name == "kept":
            n = walk["kept_of"]
            value, span = (
                f"{walk['kept']} of {counted(n, 'press', 'presses')}",
                f"{low * n:.0f} to {high * n:.0f}",
            )
        found.append(_row(name, value if seen else unseen, span, walk, PLACES, label))
    return found


def _row(name: str, value: str, span: str, walk: Any, places: dict[str, str], label: str = "") -> Row:
    place = walk[f"{name}_place"]
    known = place not in ("", NO_USUAL)
    return Row(label or name, value, span if known else "", places.get(place, ""))


def without_usual(diary: Diary) -> str:
    """Say that there is no usual yet; empty where something is."""
    if diary.row >= FEWEST_WALKS:
        return ""
    return f"Usual is told from {FEWEST_WALKS} earlier walks on; {diary.row} so far."


def followed(one: Followed, units: str) -> str:
    """Say whether an advice was followed, and what it brought against its promise, no more than shows."""
    setting = advice_text(one.advised.settings, units)
    begun = f"Advised after {one.advised.walk:%Y-%m-%d} for the {one.advised.lens}: "
    if not setting:
        text = f"{begun}no setting"
    elif not one.followed:
        return f"{begun}{setting}; not set on any of {counted(one.presses, 'press', 'presses')} since."
    else:
        text = f"{begun}{setting}; set for {one.followed} of {counted(one.presses, 'press', 'presses')} since"
    parts = [
        f"{written} {word}, promised {low} to {high}{_against(kept)}"
        for kept, word, written, low, high in _brought(one)
    ]
    return f"{text}: {'; '.join(parts)}." if parts else f"{text}; what it brought is not marked yet."


def _brought(one: Followed) -> Iterator[tuple[Kept, str, str, str, str]]:
    """What each promise met; verdicts are of drawn frames, so their counts are put as shares."""
    if sharp := one.sharp:
        share, low, high = (of_100(count / sharp.of) for count in (sharp.hits, sharp.low, sharp.high))
        yield sharp, "sharp", f"about {share} of 100", low, high
    if kept := one.kept:
        yield kept, "kept", f"{kept.hits} of {kept.of}", f"{kept.low}", f"{kept.high}"


def _against(kept: Kept) -> str:
    if kept.hits > kept.high:
        return ": more than promised"
    return ": fewer than promised" if kept.hits < kept.low else ""


def drift(one: Drift, units: str) -> str:
    """Say what drifts, with the interval of its change."""
    write: dict[str, Callable[[float], str]] = {
        "kept": of_100,
        "f_number": lambda value: format_f_number(round(value, 1)),
        "presses": lambda value: f"{value:.0f}",
    }
    name = write.get(one.what, partial(format_distance, units=units))
    way = _WAYS[one.what][one.last > one.first]
    text = _DRIFTS[one.what].format(way=way, first=name(one.first), last=name(one.last))
    ends = [100 * end if one.what == "kept" else 100 * (end - 1) for end in (one.low, one.high)]
    span = " to ".join(f"{end:+.0f}".replace("-", "−") for end in ends)
    unit = "of 100" if one.what == "kept" else "%"
    more = (
        " Whether your eye grew stricter or the streets poorer, marks alone cannot tell."
        if one.what == "kept"
        else ""
    )
    return f"{text} over {one.walks} walks (likely {span} {unit}).{more}"


def over_time(diary: Diary) -> str:
    """Say which walks lie outside what was usual before them, and whether nothing drifts."""
    placed = diary.walks[diary.walks["kept_place"].isin([MORE, LESS, WITHIN])]
    if not len(placed):
        return without_usual(diary) or "No walk could be held against those before it."
    outside = placed[placed["kept_place"] != WITHIN]
    names = listed(
        f"{row.starts_at:%Y-%m-%d} ({'more' if row.kept_place == MORE else 'less'})"
        for row in outside.itertuples()
    )
    text = f"Of {counted(len(placed), 'walk')} held against those before, "
    text += (
        f"{len(outside)} kept more or less than 19 of 20 such walks would: {names}."
        if names
        else "none lies outside your usual."
    )
    if diary.drifts and not any(one.shown for one in diary.drifts):
        text += " Nothing surely drifts: what you keep, whom you meet, what you set."
    return text
