"""What is said of one walk and of walks over time: screen and page say the same."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from posixpath import basename
from typing import Any, NamedTuple

import pandas as pd

from auditor.advice.past import Followed, advice_text
from auditor.advice.this_walk import Diary
from auditor.evidence.drift import Drift
from auditor.evidence.usual import FEWEST_WALKS, LESS, MORE, WITHIN
from auditor.show.words import causes
from auditor.show.words.figures import counted, interval, listed, percent, signed
from auditor.show.words.plain import of_100
from auditor.text import collapse
from auditor.units import format_distance, format_f_number

ByName = Mapping[str, str]
MOST_PRESETS, MOST_NAMES = 2, 3
FEWEST_FOR_A_SHARE = 10  # frames; fewer are given by their counts
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


def title(diary: Diary) -> str:
    """Name the walk, and say whether it is the newest."""
    named = f" (the newest of {diary.named} so named)" if diary.named > 1 else ""
    return f"{'This walk' if diary.row == len(diary.walks) - 1 else 'The walk'}, {when(diary.walk)}{named}"


def when(row: Any) -> str:
    """Write when a session was, its end only as a time where it is the same day; of a roll its frames."""
    if pd.isna(row.starts_at):
        return f"{row.first_file}–{row.last_file}"
    start, end = row.starts_at, row.ends_at
    until = f"{end:%H:%M}" if end.date() == start.date() else f"{end:%Y-%m-%d %H:%M}"
    return f"{start:%Y-%m-%d %H:%M}–{until}" if start != end else f"{start:%Y-%m-%d %H:%M}"


def notes(diary: Diary, called: ByName, rings: ByName, units: str) -> list[tuple[str, str]]:
    """Say what came of advice, what drifts and what deserves a second look, each with its label."""
    found = []
    if diary.earlier < FEWEST_WALKS:
        walks = counted(diary.earlier, "earlier walk")
        found.append(("Usual", f"No usual yet: {walks}, {FEWEST_WALKS} are needed."))
    became = (followed(one, rings.get(one.advised.lens, units)) for one in diary.followed)
    found += [("Last time", said) for said in became if said]
    found += [("Drift", drift(one, units)) for one in diary.drifts if one.shown]
    if diary.again:
        names = ", ".join(called[file] for file in diary.again[:MOST_NAMES])
        end = " …" if len(diary.again) > MOST_NAMES else "."
        what = f"{len(diary.again)} passed over, though sharp (judged, else worked out)"
        found.append(("Again", f"{what}: {names}{end}"))
    return found


def frames(diary: Diary, files: pd.Series) -> list[tuple[int, str]]:
    """Rows of the frame table to look at, and why; ``files`` are that table's."""
    first = files[files.isin(diary.telling["file"])].drop_duplicates()
    place = dict(zip(first, first.index, strict=True))
    return [
        (place[row.file], why(row.why) + (", another walk" if row.elsewhere else ""))
        for row in diary.telling.itertuples()
    ]


def called(diary: Diary, files: pd.Series) -> ByName:
    """Name the frames spoken of; ``files`` are all there are: of two of one name each with its folder."""
    bare = {file: basename(file) for file in [*diary.again[:MOST_NAMES], *diary.telling["file"]]}
    alike = Counter(map(basename, files[files.str.endswith(tuple(bare.values()))].unique()))
    return {file: name if alike[name] < 2 else file for file, name in bare.items()}


def why(kind: str) -> str:
    """Say why a frame tells something."""
    mark, _, side = kind.partition(", ")
    return f"{_PLAIN[mark]}, {_SIDES[side]}" if side else causes.TELLING[kind]


def set_up(diary: Diary, rings: ByName) -> str:
    """Say what was set, each ring in its own unit, and what no walk before had."""
    parts = [
        f"{format_f_number(row.f_number)} at "
        f"{format_distance(row.focus_distance_m, rings.get(row.preset, 'm'))} ({row.presses})"
        for row in diary.presets.itertuples()
    ]
    if not parts:
        return "No frame of this walk has a whole zone setting."
    more = len(parts) - MOST_PRESETS
    text = f"Set {listed([*parts[:MOST_PRESETS], *([counted(more, 'other')] if more > 0 else [])])}."
    if unset := diary.walk["unset"]:
        taken, pressed = counted(diary.walk["frames_taken"], "frame"), diary.walk["presses"]
        text += f" {taken}, {counted(pressed, 'press', 'presses')}; {unset} without a zone setting."
    new = collapse([f"{kind} {name}" for kind, name in diary.new], MOST_NAMES)
    return f"{text} New: {new}." if new else text


def rows(diary: Diary) -> Iterator[Row]:
    """Say how many presses, and what share was in the zone, sharp and kept, each against what was usual."""
    walk, walks = diary.walk, diary.walks

    def row(name: str, what: str, value: str, span: str, places: ByName = PLACES) -> Row:
        place = places.get(walk[f"{name}_place"], "")
        return Row(what, value, span if place else "", place)

    if walk["presses"]:
        span = f"{walk['presses_low']:.0f} to {walk['presses_high']:.0f}"
        yield row("presses", "presses", f"{walk['presses']}", span, OF_PRESSES)
    for name, what, how in (("zone", "in zone", "measured"), ("sharp", "sharp", "judged")):
        if 0 < (seen := walk[f"{name}_seen"]) < FEWEST_FOR_A_SHARE:
            yield Row(what, f"{walk[f'{name}_hits']} of {counted(seen, 'frame')} {how}")
        elif seen:
            own = interval(walk[f"{name}_share_low"], walk[f"{name}_share_high"])
            value = f"{percent(walk[f'{name}_share'])} ({own}; {seen} frames {how})"
            yield row(name, what, value, interval(walk[f"{name}_low"], walk[f"{name}_high"]))
        elif walks[f"{name}_seen"].any():
            yield Row(what, f"not {how}")
    if n := walk["kept_of"]:
        span = f"{walk['kept_low'] * n:.0f} to {walk['kept_high'] * n:.0f}"
        more = f" ({out} left out by the rule of marks)" if (out := walk["presses"] - n) > 0 else ""
        yield row("kept", "kept", f"{walk['kept']} of {n}{more}", span)
    elif walks["kept_of"].any():
        yield Row("kept", "no mark counts yet")


def followed(one: Followed, ring: str) -> str:
    """Say whether an advice was followed, and what it brought against its promise, no more than shows.

    Where nothing was advised, a forecast is held against what came; empty where nothing can be yet.
    """
    setting, since = advice_text(one.advised.settings, ring), counted(one.presses, "press", "presses")
    given = f"after {one.advised.walk:%Y-%m-%d} for the {one.advised.lens}"
    if setting and not one.followed:
        return f"Advised {given}: {setting}; not set on any of {since} since."
    brought = []
    if kept := one.sharp:  # verdicts are of drawn frames, so their counts are put as shares
        ends = kept.share, kept.low / kept.of, kept.high / kept.of
        met, low, high = map(percent, ends)
        brought.append((met, "sharp", f"{low} to {high}", _against(*(round(100 * end) for end in ends))))
    if kept := one.kept:
        against = _against(kept.hits, kept.low, kept.high)
        brought.append((f"{kept.hits}", f"of {kept.of} kept", f"{kept.low} to {kept.high}", against))
    if not setting:
        came = [f"{span} {what}, and {met} {'was' if met == '1' else 'were'}{against}"
                for met, what, span, against in brought]  # fmt: skip
        return f"Expected {given}: {'; '.join(came)}." if came else ""
    came = [f"{met} {what}, promised {span}{against}" for met, what, span, against in brought]
    text = f"Advised {given}: {setting}; set for {one.followed} of {since} since"
    return f"{text}: {'; '.join(came)}." if came else f"{text}; what it brought is not marked yet."


def _against(met: int, low: int, high: int) -> str:
    if low <= met <= high:
        return ""
    return ": more than that" if met > high else ": fewer than that"


def drift(one: Drift, units: str) -> str:
    """Say what drifts, with the interval of its change."""
    text, down, up = _DRIFTS[one.what]
    write: Callable[[float], str] = {
        "kept": of_100,
        "presses": "{:.0f}".format,
        "f_number": lambda number: format_f_number(round(number, 1)),
    }.get(one.what, partial(format_distance, units=units))
    text = text.format(up if one.last > one.first else down, write(one.first), write(one.last))
    share = one.what == "kept"
    ends = [100 * (end if share else end - 1) for end in (one.low, one.high)]
    span = " to ".join(signed(end, "+.0f") for end in ends)
    unit, more = ("of 100", _OF_THE_EYE) if share else ("%", "")
    return f"{text} over {one.walks} walks (likely {span} {unit}).{more}"


def over_time(diary: Diary) -> str:
    """Say which walks lie outside what was usual before them, and whether nothing drifts."""
    placed = diary.walks[diary.walks["kept_place"].isin([MORE, LESS, WITHIN])]
    if not len(placed):
        return f"It takes {FEWEST_WALKS} walks that were chosen from before one to say what is usual."
    outside = [
        f"{row.first_file if pd.isna(row.starts_at) else f'{row.starts_at:%Y-%m-%d}'}"
        f" (kept {'more' if row.kept_place == MORE else 'less'})"
        for row in placed[placed["kept_place"] != WITHIN].itertuples()
    ]
    text = f"Of {counted(len(placed), 'walk')} held against those before, "
    text += f"{len(outside)} lay outside your usual: {listed(outside)}." if outside else "none lay outside."
    if diary.drifts and not any(one.shown for one in diary.drifts):
        text += " Nothing surely drifts: what you keep, whom you meet, what you set."
    return text
