"""What is said of one walk and of walks over time: screen and page say the same."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any, NamedTuple

import pandas as pd

from auditor.advice.past import Followed, Kept, advice_text
from auditor.advice.this_walk import Diary
from auditor.evidence.drift import Drift
from auditor.evidence.usual import FEWEST_WALKS, LESS, MORE, WITHIN
from auditor.show.page.model import Said, said
from auditor.show.words import causes
from auditor.show.words.figures import counted, interval, listed, percent
from auditor.show.words.plain import of_100
from auditor.show.words.sessions import when
from auditor.text import collapse
from auditor.units import format_distance, format_f_number

MOST_PRESETS, MOST_NAMES = 2, 3
PLACES = {
    MORE: "better than 19 of 20 such walks would be",
    LESS: "worse than 19 of 20 such walks would be",
    WITHIN: "within your usual",
}
OF_PRESSES = PLACES | {MORE: "more than on 19 of 20 walks", LESS: "fewer than on 19 of 20 walks"}
_PLAIN = {"keeper": "kept", "not kept": "left", "unmarked": "not marked"}
_SIDES = {"near": "stood too near", "in": "in the zone", "far": "stood too far"}
_DRIFTS = {  # what, and the way it goes: down, up
    "kept": ("The share you keep {}: from about {} of 100 presses to {}", "falls", "rises"),
    "distance": ("You meet people {}: from about {} to {}", "nearer", "farther"),
    "f_number": ("You {}: from about {} to {}", "open up", "stop down"),
    "ring": ("You set the ring {}: from about {} to {}", "nearer", "farther"),
    "presses": ("You press {} on a walk: from about {} times to {}", "less", "more"),
}
_OF_THE_EYE = " Whether your eye grew stricter or the streets poorer, marks alone cannot tell."


class Row(NamedTuple):
    """One line: what, how much, the interval of the usual and where the walk lies in it; empty for none."""

    what: str
    value: str
    usual: str = ""
    place: str = ""


class WalkTold(NamedTuple):
    """One walk in words."""

    title: str
    set_up: Said
    rows: tuple[Row, ...]
    notes: tuple[
        tuple[str, Said], ...
    ]  # advice before, drifts, what deserves a second look, with their labels
    frames: tuple[tuple[int, str], ...]  # rows of the frame table to look at, and why


def tell_walk(diary: Diary, files: pd.Series) -> WalkTold:
    """Tell of the diary's walk; ``files`` are those of the frame table."""
    place = {file: row for row, file in reversed(list(enumerate(files)))}
    notes = [("Last time", said(partial(followed, one))) for one in diary.followed]
    notes += [("Drift", said(partial(drift, one))) for one in diary.drifts if one.shown]
    if diary.again:
        names = ", ".join(short(file) for file in diary.again[:MOST_NAMES])
        look = f"{len(diary.again)} passed over, though sharp in the zone: {names}"
        look += " …" if len(diary.again) > MOST_NAMES else "."
        notes.append(("Again", Said(look, look)))
    if diary.row < FEWEST_WALKS:
        none = f"No usual yet ({diary.row} of {FEWEST_WALKS} earlier walks)."
        notes.insert(0, ("Usual", Said(none, none)))
    return WalkTold(
        title=f"{'This walk' if diary.row == len(diary.walks) - 1 else 'The walk'}, {when(diary.walk)}",
        set_up=said(partial(set_up, diary)),
        rows=tuple(rows(diary.walk, diary.walks)),
        notes=tuple(notes),
        frames=tuple((place[row.file], why(row.why)) for row in diary.telling.itertuples()),
    )


def short(file: str) -> str:
    """Name of a file without its folders."""
    return file.rpartition("/")[2]


def why(kind: str) -> str:
    """Say why a frame tells something."""
    mark, _, side = kind.partition(", ")
    return f"{_PLAIN[mark]}, {_SIDES[side]}" if side else causes.TELLING[kind]


def set_up(diary: Diary, units: str) -> str:
    """Say what was set, and what no walk before had."""
    parts = [
        f"{format_f_number(row.f_number)} at {format_distance(row.focus_distance_m, units)} ({row.presses})"
        for row in diary.presets.itertuples()
    ]
    if not parts:
        return "No frame of this walk has a whole zone setting."
    more = len(parts) - MOST_PRESETS
    text = f"Set {listed([*parts[:MOST_PRESETS], *([f'{more} more'] if more > 0 else [])])}."
    new = collapse([f"{kind} {name}" for kind, name in diary.new], MOST_NAMES)
    return f"{text} New: {new}." if new else text


def rows(walk: pd.Series, walks: pd.DataFrame) -> Iterator[Row]:
    """Say how many presses, and what share was in the zone, sharp and kept, each against what was usual."""
    if walk["presses"]:
        span = f"{walk['presses_low']:.0f} to {walk['presses_high']:.0f}"
        yield _row("presses", f"{walk['presses']}", walk, span, OF_PRESSES)
    for name, what, how in (("zone", "in zone", "measured"), ("sharp", "sharp", "judged")):
        if walk[f"{name}_seen"]:
            value = f"{percent(walk[f'{name}_share'])} ({walk[f'{name}_seen']} {how})"
            yield _row(name, value, walk, interval(walk[f"{name}_low"], walk[f"{name}_high"]), what=what)
        elif walks[f"{name}_seen"].any():
            yield Row(what, f"not {how}")
    if n := walk["kept_of"]:
        span = f"{walk['kept_low'] * n:.0f} to {walk['kept_high'] * n:.0f}"
        yield _row("kept", f"{walk['kept']} of {n}", walk, span)
    elif walks["kept_of"].any():
        yield Row("kept", "not chosen yet")


def _row(
    name: str, value: str, walk: pd.Series, span: str, places: dict[str, str] = PLACES, what: str = ""
) -> Row:
    place = places.get(walk[f"{name}_place"], "")
    return Row(what or name, value, span if place else "", place)


def followed(one: Followed, units: str) -> str:
    """Say whether an advice was followed, and what it brought against its promise, no more than shows."""
    setting, since = advice_text(one.advised.settings, units), counted(one.presses, "press", "presses")
    text = f"Advised after {one.advised.walk:%Y-%m-%d} for the {one.advised.lens}: {setting or 'no setting'}"
    if setting and not one.followed:
        return f"{text}; not set on any of {since} since."
    if setting:
        text += f"; set for {one.followed} of {since} since"
    brought = []
    if kept := one.sharp:  # verdicts are of drawn frames, so their counts are put as shares
        share, low, high = (percent(count / kept.of) for count in (kept.hits, kept.low, kept.high))
        brought.append(f"{share} sharp, promised {low} to {high}{_against(kept)}")
    if kept := one.kept:
        brought.append(f"{kept.hits} of {kept.of} kept, promised {kept.low} to {kept.high}{_against(kept)}")
    return f"{text}: {'; '.join(brought)}." if brought else f"{text}; what it brought is not marked yet."


def _against(kept: Kept) -> str:
    if kept.low <= kept.hits <= kept.high:
        return ""
    return ": more than promised" if kept.hits > kept.high else ": fewer than promised"


def drift(one: Drift, units: str) -> str:
    """Say what drifts, with the interval of its change."""
    text, down, up = _DRIFTS[one.what]

    def name(value: float) -> str:
        if one.what in ("distance", "ring"):
            return format_distance(value, units)
        if one.what == "f_number":
            return format_f_number(round(value, 1))
        return of_100(value) if one.what == "kept" else f"{value:.0f}"

    text = text.format(up if one.last > one.first else down, name(one.first), name(one.last))
    ends = [100 * end if one.what == "kept" else 100 * (end - 1) for end in (one.low, one.high)]
    span = " to ".join(f"{end:+.0f}".replace("-", "−") for end in ends)
    unit, more = ("of 100", _OF_THE_EYE) if one.what == "kept" else ("%", "")
    return f"{text} over {one.walks} walks (likely {span} {unit}).{more}"


def over_time(diary: Diary) -> str:
    """Say which walks lie outside what was usual before them, and whether nothing drifts."""
    placed = diary.walks[diary.walks["kept_place"].isin([MORE, LESS, WITHIN])]
    if not len(placed):
        return f"It takes {FEWEST_WALKS} walks that were chosen from before one to say what is usual."
    outside = [_outside(row) for row in placed.itertuples() if row.kept_place != WITHIN]
    text = f"Of {counted(len(placed), 'walk')} held against those before, "
    text += f"{len(outside)} lay outside your usual: {listed(outside)}." if outside else "none lay outside."
    if diary.drifts and not any(one.shown for one in diary.drifts):
        text += " Nothing surely drifts: what you keep, whom you meet, what you set."
    return text


def _outside(row: Any) -> str:
    return f"{row.starts_at:%Y-%m-%d} (kept {'more' if row.kept_place == MORE else 'less'})"
