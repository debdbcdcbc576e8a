"""Four kinds of light, from sun to night, as exposure values at ISO 100: where each of them ends.

Exposure values from the encyclopaedia's table of lighting conditions (*Exposure value*, table 2, after ANSI
PH2.7-1973 and -1986; seen second-hand): typical scene in sun 15, hazy 14, cloudy bright 13; heavy overcast
and open shade 12, just after sunset 9 to 11; galleries 8 to 11, offices 7 and 8; night street scenes 7 and
8, homes 5 to 7, night traffic 5, floodlit buildings 3 to 5. US Navy, NAVEDTRA 14209, p. 4-21 agrees on sun
and open shade (the f/16 rule). An exposure value alone cannot tell a room from a street at night; the
bounds are halfway.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from auditor.errors import UnitError


@dataclass(frozen=True, slots=True)
class KindOfLight:
    """A kind of light: its name, how a sentence puts it, and exposure values at ISO 100."""

    name: str
    said: str
    from_ev: float  # the least, included
    usual_ev: float  # the one to reckon with


KINDS = (
    KindOfLight("sun", "in sun", 12.5, 15.0),
    KindOfLight("open shade", "in open shade", 9.5, 12.0),
    KindOfLight("indoors", "indoors", 6.5, 8.0),
    KindOfLight("night", "at night", -np.inf, 5.0),
)


def kind_index(ev: npt.ArrayLike) -> npt.NDArray[np.intp]:
    """Place in :data:`KINDS` of exposure values at ISO 100; -1 where unknown.

    >>> kind_index([15.0, 12.0, 8.0, 5.0, np.nan]).tolist()
    [0, 1, 2, 3, -1]
    """
    value = np.asarray(ev, dtype=float)
    starts = np.array([kind.from_ev for kind in KINDS])
    with np.errstate(invalid="ignore"):
        index = (value[..., None] < starts).sum(axis=-1)
    return np.where(np.isnan(value), -1, index)


def read_kind(text: str) -> KindOfLight:
    """Find a kind of light by its name; UnitError if there is none of that name."""
    named = {kind.name: kind for kind in KINDS}
    if (wanted := text.strip().casefold()) not in named:
        raise UnitError(f"{text!r} is no kind of light.", f"Use {', '.join(named)}.")
    return named[wanted]


def scene_at(ev: float) -> str:
    """The least bright kind that usually has at least this light; ``more than full sun`` beyond all of them.

    >>> scene_at(14.5), scene_at(11.0), scene_at(16.0)
    ('sun', 'open shade', 'more than full sun')
    """
    enough = [kind.name for kind in KINDS if kind.usual_ev >= ev]
    return enough[-1] if enough else "more than full sun"
