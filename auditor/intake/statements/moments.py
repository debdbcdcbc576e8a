"""Finds the moment that a stretch names: a time, a date and time, or a frame."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.frames import captured_s
from auditor.intake.statements.names import FrameNames
from auditor.intake.statements.session import SessionFile, Stretch

_EPOCH = datetime(1970, 1, 1)
SESSION_GAP_S = 3 * 3600.0  # a longer gap between frames begins another session
DAY_S = 24 * 3600.0


@dataclass(frozen=True, slots=True)
class Order:
    """The frames of one session file in the order they were taken.

    Attributes
    ----------
    rows : numpy.ndarray of int, shape (k,)
        Row numbers with a capture time, by time, then by name.
    time_s : numpy.ndarray, shape (k,)
        Their capture times.
    session : numpy.ndarray, shape (k,)
        Their session numbers.
    """

    rows: np.ndarray
    time_s: np.ndarray
    session: np.ndarray


def time_order(table: pd.DataFrame, rows: np.ndarray) -> Order:
    """Put rows with a capture time in order."""
    times = captured_s(table)[rows]
    known = np.flatnonzero(~np.isnan(times))
    names = table["file"].to_numpy(object)[rows[known]]
    order = known[np.lexsort((names.astype(str), times[known]))]
    sessions = table["session"].to_numpy("float64", na_value=np.nan)[rows]
    return Order(rows[order], times[order], sessions[order])


class MomentFinder:
    """Finds the position in time of what ``from`` and ``to`` name: a time, a date and time, or a frame."""

    def __init__(self, table: pd.DataFrame, order: Order, below: str) -> None:
        self.order = order
        self.position_of = {int(row): position for position, row in enumerate(order.rows)}
        self.names = FrameNames(enumerate(table["file"].astype(str)), below)
        self.days = sorted(
            {(_EPOCH + timedelta(seconds=float(t))).date() for t in np.unique(order.time_s // 86400 * 86400)}
        )

    def position(
        self, stretch: Stretch, text: str | None, session: SessionFile, default: int
    ) -> tuple[int | None, Problem | None]:
        """Position of the first frame at or after the moment that is named."""
        if text is None:
            return default, None
        place = f"{session.path}{stretch.place}"
        moment = self._moment(text)
        if isinstance(moment, datetime):
            seconds = (moment - _EPOCH).total_seconds()
            return int(np.searchsorted(self.order.time_s, seconds, side="left")), None
        if isinstance(moment, str):
            return None, Problem(
                place, moment, "The stretch was ignored. Write the date too, or a frame's name."
            )
        rows = self.names.find(text)
        hits = [self.position_of[row] for row in rows if row in self.position_of]
        if len(hits) == 1:
            return hits[0], None
        if hits:
            what = f"The frame name {text!r} is there {len(hits)} times."
            return None, Problem(
                place,
                what,
                "The stretch was ignored. Write its path, such as folder/name, or a date and time.",
            )
        if rows:
            what = f"The frame {text!r} has no capture time, or lies outside this session file's folder."
            return None, Problem(
                place, what, "The stretch was ignored. Name another frame, or a date and time."
            )
        return None, Problem(
            place,
            f"There is no frame {text!r}, and it is not a time.",
            f"The stretch was ignored.{self.names.nearest(text)} "
            "Write a frame's name, 14:05 or 2031-04-05 14:05.",
        )

    def begins_near(self, text: str, position: int) -> bool:
        """Whether the frame at a position follows soon upon the moment that was named for it."""
        moment = self._moment(text)
        if not isinstance(moment, datetime):
            return True  # a frame names itself
        if position >= len(self.order.time_s):
            return False
        seconds = (moment - _EPOCH).total_seconds()
        return bool(self.order.time_s[position] - seconds <= (DAY_S if _is_date(text) else SESSION_GAP_S))

    def _moment(self, text: str) -> datetime | str | None:
        """A datetime; a text that says why a time is not enough; or None where it is no time at all."""
        if re.fullmatch(r"\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?", text):
            hour, *rest = text.split(":")
            try:
                clock = time.fromisoformat(":".join([hour.zfill(2), *rest]))
            except ValueError:
                return None
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
        if len(np.unique(self.order.session)) != 1:
            return None
        first, last = (_EPOCH + timedelta(seconds=float(self.order.time_s[i])) for i in (0, -1))
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
