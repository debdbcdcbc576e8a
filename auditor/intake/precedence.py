"""Whose word wins: the sources of every quantity, the strongest first, and claims laid over each other."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from auditor.intake.statements.bodies import MEASURES
from auditor.intake.statements.claims import Claim

# Quantity -> its sources, the strongest first. Of one source the deepest claim wins: the nearest notes file;
# what a frame table said before lies below all that people state now.
PRECEDENCE: Final[dict[str, tuple[str, ...]]] = {
    "clock_offset": ("session",),
    "sensor": ("session", "exif"),
    "preset": ("notes", "session"),
    "lens": ("notes", "file", "session"),
    "focal_length": ("notes", "file", "session"),
    "f_number": ("notes", "file", "session"),
    "focus_distance": ("notes", "session", "exif", "xmp"),
    "subject_distance": ("notes", "exif", "xmp", "picture"),
    "other_subjects": ("notes",),
    "subject_distance_sd": ("notes",),
    **dict.fromkeys(MEASURES, ("notes",)),
    "guessed_distance": ("notes",),
    "sample_weight": ("notes",),
    "pressed": ("session",),
    "flash_duration": ("session",),
    "keeper": ("notes", "selects", "sidecar", "embedded", "exif"),
    "counted_as": ("table",),
    "drawn": ("table",),
    "sharp": ("notes",),
    "sharp_seen": ("notes",),
    "sharp_shown_px": ("notes",),
    "reason": ("notes",),
}
NO_NUMBERS = frozenset({"sensor", "other_subjects", "preset", "lens", "pressed", "keeper", "counted_as"}) | {
    "drawn", "sharp", "sharp_seen", "reason"
}  # fmt: skip
# Depth of a distance that a share of the notes gives: below every typed one, above those of a frame table.
TABLE_DEPTH, SHARE_DEPTH = -1.0, -0.5


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """One quantity of every frame as its strongest source states it; arrays of shape (n,)."""

    typed: np.ndarray  # NaN or None where unknown
    sources: np.ndarray  # None where no source speaks
    from_lens: np.ndarray
    rel_sd: np.ndarray


def settle(quantity: str, claims: Iterable[Claim], n: int) -> Settled:
    """Lay all claims of a quantity over each other, the strongest on top."""
    rank = {source: place for place, source in enumerate(PRECEDENCE[quantity])}
    values = np.full(n, None, dtype=object) if quantity in NO_NUMBERS else np.full(n, np.nan)
    settled = Settled(values, np.full(n, None, dtype=object), np.zeros(n, dtype=bool), np.full(n, np.nan))
    chosen = [claim for claim in claims if claim.quantity == quantity]
    for claim in sorted(chosen, key=lambda c: (-rank[c.source], c.depth, c.place)):
        settled.typed[claim.rows] = claim.typed
        settled.sources[claim.rows] = claim.source
        settled.from_lens[claim.rows] = claim.from_lens
        settled.rel_sd[claim.rows] = np.nan if claim.rel_sd is None else claim.rel_sd
    return settled
