"""What is said of the frames that fell out, and of the rules that decided it."""

from collections.abc import Mapping, Sequence

import pandas as pd

from auditor.errors import Problem
from auditor.settings import Settings
from auditor.show.words.figures import counted, interval, listed, percent, whole

MANY_MISSING = 0.05  # share of the frames above which missing numbers change the rate worth saying

Counts = Mapping[str, int | None]


def steps(counts: Counts) -> list[tuple[str, str]]:
    """List each step from files to counted frames: number and meaning; empty steps are left out."""
    rows = [
        ("found", "picture files found"),
        ("unreadable", "of them could not be read"),
        ("merged", "joined another file of the same frame"),
        ("frames", "frames"),
        ("markers", "marked a change of setting and are none of the walk"),
        ("without_zone", "lack focal length, f-number or focus distance, so they have no sharp zone"),
        ("not_zone_focused", "were autofocused, so they belong to no preset"),
        ("with_subject_distance", "have a subject distance"),
        ("left_out", "are left out: the choosing ended before, or nobody said if they were looked at"),
        ("marked", "count"),
        ("stated", "of them by a stated mark"),
        ("by_rule", "of them by the rule for unmarked frames"),
        ("keepers", "keepers"),
        ("not_kept", "not kept"),
    ]
    always = {"found", "frames", "marked", "keepers", "not_kept"}
    return [(whole(counts.get(key) or 0), text) for key, text in rows if counts.get(key) or key in always]


def unmarked_rule(settings: Settings) -> str:
    """State the rule for unmarked frames that was in force."""
    return {
        "auto": "Photographers mark only what they keep. So in a session with a keeper, unmarked frames "
        "before a camera's last marked frame count as not kept; where choosing stopped is inferred, so "
        "that frame and all after it are left out. In a session matched by a folder of selects all frames "
        "count.",
        "not-kept": "Every unmarked frame counts as not kept, as asked.",
        "keeper": "Every unmarked frame counts as a keeper, as asked: only rejects were marked.",
        "leave-out": "Every unmarked frame is left out, as asked.",
    }[settings.unmarked]


def to_the_end(to_end: Mapping[str, float], counts: Counts) -> str:
    """Say what the rate by frames would be with every session counted to its end; empty if it is the same."""
    keepers, frames = to_end["keepers"], to_end["frames"]
    if not frames or frames == counts.get("marked"):
        return ""
    span = interval(to_end["frame_low"], to_end["frame_high"])
    return (
        f"Counted to each session's end instead, {whole(keepers)} of {counted(frames, 'frame')} would be "
        f"kept: {percent(to_end['frame_rate'])} ({span}). Which of the two is right depends on where "
        "choosing stopped; culled_to in the session file settles it."
    )


def missing_numbers(counts: Counts) -> str:
    """Say what the gaps in the cameras' numbering mean; empty where there are none or nothing is known."""
    missing, frames = counts.get("missing_numbers") or 0, counts["frames"] or 0
    if not missing:
        return ""
    unread = " (files that could not be read may be among them)" if counts.get("unreadable") else ""
    verb = "is" if missing == 1 else "are"
    start = f"{counted(missing, 'file number')} {verb} missing within sessions{unread}."
    marked, keepers = counts["marked"] or 0, counts["keepers"] or 0
    if missing <= MANY_MISSING * frames or not marked:
        return start
    return (
        f"{start} If all were frames deleted because they were not worth keeping, the rate by frames would "
        f"be {percent(keepers / (marked + missing))} rather than {percent(keepers / marked)}."
    )


def flash(rates: pd.DataFrame) -> str:
    """Say the rates with and without flash; empty where only one of them occurs."""
    said = {
        bool(row.flash): f"{whole(row.hits)} of {whole(row.bursts)} presses held a keeper "
        f"(likely {interval(row.low, row.high)})"
        for row in rates.itertuples()
    }
    return f"With flash {said[True]}; without {said[False]}; the light differs too." if said else ""


def company(counts: Counts, by_preset: Mapping[str, Mapping[str, int]]) -> str:
    """Say which of several subjects the zone held, by preset where there are several; empty without any."""
    who = {"all": "all of them", "only_first": "only the first", "only_others": "only others", "none": "none"}
    said = {whom: counts.get(f"{key}_in_zone") or 0 for key, whom in who.items()}
    total = sum(said.values())
    if not total:
        return ""
    parts = listed(f"{whom} in {whole(n)}" for whom, n in said.items() if n)
    own = [
        f"{name} {whole(one['all_in_zone'])} of {whole(sum(one.values()))}" for name, one in by_preset.items()
    ]
    each = f" All of them by preset: {listed(own)}." if len(own) > 1 else ""
    return f"Of {counted(total, 'frame')} with several subjects the zone held {parts}.{each}"


def ignored(problems: Sequence[Problem]) -> str:
    """Say which statement of a person was not followed, and how many more were not; empty if none."""
    own = [problem for problem in problems if problem.ignored]
    if not own:
        return ""
    more = f" {whole(len(own) - 1)} more below." if len(own) > 1 else ""
    place = f"{own[0].file}: " if own[0].file else ""
    return f"Not followed: {place}{own[0].what} {own[0].next}".rstrip() + more
