"""Finds the moment that a stretch names: a time, a date and time, or a frame."""

import re
from datetime import date, datetime, time, timedelta
from itertools import pairwise

import numpy as np

from auditor.errors import Problem
from auditor.intake.frame_index import SESSION_GAP_S, FrameIndex, Timeline
from auditor.intake.library.folders import stem_of
from auditor.intake.statements.session import SessionFile, Stretch

_EPOCH = datetime(1970, 1, 1)
DAY_S = 24 * 3600.0
LARGEST_GAP = 20  # numbers; a frame missing from a longer gap may be a slip of the pen


class MomentFinder:
    """Finds the position in time of what ``from`` and ``to`` name: a time, a date and time, or a frame."""

    def __init__(self, session: SessionFile, timeline: Timeline, index: FrameIndex) -> None:
        self.session, self.timeline, self.index = session, timeline, index
        self.time_s = timeline.time_s[~np.isnan(timeline.time_s)]
        days = np.unique(self.time_s // DAY_S)
        self.days = [(_EPOCH + timedelta(days=float(day))).date() for day in days]

    def position(self, stretch: Stretch, text: str | None, default: int) -> tuple[int | None, Problem | None]:
        """Position of the first frame at or after a moment; of one missing among others, with a problem."""
        if text is None:
            return default, None
        moment = self._moment(text)
        if isinstance(moment, datetime):
            return self.timeline.position((moment - _EPOCH).total_seconds()), None

        def refused(what: str, step: str, position: int | None = None) -> tuple[int | None, Problem]:
            step = f"The stretch sets nothing. {step}"
            return position, Problem(f"{self.session.path}{stretch.place}", what, step, ignored=True)

        if isinstance(moment, str):
            step = "Write the date too, or a frame's name." if self.days else "Write a frame's name."
            return refused(moment, step)
        rows = self.index.find(text, self.session.path)
        hits = self.index.positions(self.timeline, rows)
        if len(hits) == 1:
            return hits[0], None
        if hits:
            what = f"The frame name {text!r} is there {len(hits)} times."
            return refused(what, "Write its path, such as folder/name, or a date and time.")
        if rows:
            what = f"The frame {text!r} lies outside this session file's folder."
            return refused(what, "Name another frame, or a date and time.")
        return refused(
            f"There is no frame {text!r}, and it is not a time.",
            f"{self.index.nearest(text).strip()} Write a frame's name, 14:05 or 2031-04-05 14:05.".strip(),
            self._between_neighbours(text),
        )

    def _between_neighbours(self, text: str) -> int | None:
        """Position of a frame that is gone, by its number between those of two others; None unless sure."""
        wanted = _numbered(text)
        if wanted is None:
            return None
        letters, number = wanted
        names = (_numbered(self.index.name(row)) for row in self.timeline.rows.tolist())
        known = [(i, name[1]) for i, name in enumerate(names) if name is not None and name[0] == letters]
        found = [
            after
            for (_, before_number), (after, after_number) in pairwise(known)
            if before_number < number < after_number and after_number - before_number <= LARGEST_GAP
        ]
        return found[0] if len(found) == 1 else None

    def begins_near(self, text: str, position: int) -> bool:
        """Whether the frame at a position follows soon upon the moment that was named for it."""
        moment = self._moment(text)
        if not isinstance(moment, datetime):
            return True  # a frame names itself
        if position >= len(self.time_s):
            return False
        seconds = (moment - _EPOCH).total_seconds()
        return bool(self.time_s[position] - seconds <= (DAY_S if _is_date(text) else SESSION_GAP_S))

    def _moment(self, text: str) -> datetime | str | None:
        """A datetime; a text that says why a time is not enough; or None where it is no time at all."""
        if re.fullmatch(r"\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?", text):
            hour, *rest = text.split(":")
            try:
                clock = time.fromisoformat(":".join([hour.zfill(2), *rest]))
            except ValueError:
                return None
            if not self.days:
                return f"{text} is a time, and no frame here has one."
            if len(self.days) == 1:
                return datetime.combine(self.days[0], clock)
            nearest = self._within_one_session(clock)
            if nearest is not None:
                return nearest
            shown = ", ".join(day.isoformat() for day in self.days[:4])
            return f"{text} could be any of {len(self.days)} days ({shown})."
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            return None
        return moment.replace(tzinfo=None) if re.search(r"\d[ T]\d", text) or _is_date(text) else None

    def _within_one_session(self, clock: time) -> datetime | None:
        """The day on which a time lies in or next to the one session, a walk over midnight; else None."""
        if len(np.unique(self.timeline.session[: len(self.time_s)])) != 1:
            return None
        first, last = (_EPOCH + timedelta(seconds=float(self.time_s[i])) for i in (0, -1))
        moments = [datetime.combine(day, clock) for day in self.days]
        away = [max(first - moment, moment - last, timedelta(0)) for moment in moments]
        near = [moment for moment, span in zip(moments, away, strict=True) if span == min(away)]
        return near[0] if len(near) == 1 else None


def _is_date(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return "-" in text


def _numbered(file: str) -> tuple[str, int] | None:
    """What stands before a frame's number, and the number; None for a name without one at its end."""
    match = re.fullmatch(r"(.*?)(\d{3,6})", stem_of(file.replace("\\", "/")))
    return None if match is None else (match[1], int(match[2]))
