"""The one step that would help most, with its command and what it costs."""

import re
import shlex
from collections.abc import Sequence
from typing import NamedTuple

from auditor.show.decided import Decided
from auditor.text import without_home


class Step(NamedTuple):
    """What helps most: as an instruction, in a sentence, its command, and what it costs."""

    instruction: str
    sentence: str
    command: str
    cost: str


_PREPARE = "auditor prepare {source}"
STEPS = {
    "settings": Step("Say what was on the lens", "Fill in what was on the lens", _PREPARE,
                     "about five minutes"),
    "distances": Step("Measure sixty distances", "Measure distances", _PREPARE, "about ten minutes"),
    "verdicts": Step("Judge sixty frames for sharpness", "Say of a sample which frames are sharp", _PREPARE,
                     "about ten minutes"),
    "marks": Step(
        "Mark what you keep", "Name your folder of selects", "auditor audit {source} --keepers SELECTS",
        "a minute, once they are chosen",
    ),
    "anyone": Step(
        "Press at anyone for a stretch",
        'On one stretch press whatever the ring says, and note it with pressed = "anyone"', _PREPARE,
        "a stretch of 60 presses",
    ),
    "ring_check": Step(
        "Hold the ring against a tape", "Measure where a mark of the ring focuses, and state it as "
        "ring_check of the [[lens]] in the session file", "", "ten minutes",
    ),
    "": Step("", "", "", ""),
}  # fmt: skip
_NEARER_PEOPLE = Step("Set the ring where people stand", "Set the ring to where people stood", "", "one walk")
_ONCE_MORE = Step("Walk once more", "Walk once more; every frame of these has its answer", "", "one walk")


def helpful(decided: Decided) -> Step:
    """What helps most; where fewer than sixty frames are left to answer, these, and else another walk."""
    known, step = decided.known, STEPS[decided.would_help]
    answered = {"distances": known.measured, "verdicts": known.judged}.get(decided.would_help)
    if decided.weighed is not None and decided.weighed.decision.why == "no_setting":
        return _NEARER_PEOPLE
    if decided.would_help == "marks" and known.marked >= known.frames:
        return _ONCE_MORE
    if answered is None or known.frames - answered >= 60:
        more = "sixty more" if answered else "sixty"
        return step._replace(instruction=step.instruction.replace("sixty", more))
    left = known.frames - answered
    if not left:
        return _ONCE_MORE
    all_of_them = "both" if left == 2 else f"all {left}"
    which = "the last" if left == 1 else f"the other {left}" if answered else all_of_them
    text = re.sub(r"(last \w+)s\b", r"\1", step.instruction.replace("sixty", which))
    return step._replace(instruction=text)


def step(decided: Decided, sources: Sequence[str]) -> Step:
    """Give the one step that helps most, its command for these sources; empty where nothing would."""
    chosen = helpful(decided)
    return chosen._replace(command=chosen.command.format(source=typed_sources(sources)))


def typed_sources(sources: Sequence[str]) -> str:
    """Write sources so that a shell reads them, the home folder as ``~``: a page may be shown to others."""
    short = [(source, without_home(source)) for source in sources]
    typed = [f"~/{shlex.quote(one[2:])}" if one[:2] == "~/" else shlex.quote(source) for source, one in short]
    return " ".join(typed) or "FOLDER"
