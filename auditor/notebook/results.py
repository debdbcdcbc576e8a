"""What the functions for notebooks return: results that show themselves."""

from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from auditor.advice.as_json import advice_json, tuning_json
from auditor.advice.decision import Decision
from auditor.advice.lens_decision import LensDecision
from auditor.intake.statements.session import Lens, declared_lenses
from auditor.journey import Audit, Scan
from auditor.units import format_distance, format_f_number


def _with_table(result: object, table: pd.DataFrame) -> str:
    return f"<p>{escape(repr(result))}</p>{table.to_html(index=False)}"


@dataclass(frozen=True, slots=True, repr=False)
class Scanned:
    """The frames of an archive, with zone and blur; ``problems`` and ``settings`` are those of its scan."""

    scan: Scan

    @property
    def frames(self) -> pd.DataFrame:
        """The frame table."""
        return self.scan.archive.table

    def __getattr__(self, name: str) -> Any:
        return getattr(self.scan, name)

    def __dir__(self) -> list[str]:
        return sorted({*dir(type(self)), *dir(self.scan)})

    @property
    def lenses(self) -> tuple[Lens, ...]:
        """What session files say of lenses."""
        return declared_lenses(self.scan.archive.session_files)

    def __repr__(self) -> str:
        zone, distance = self.frames[["near_limit_m", "subject_distance_m"]].notna().sum()
        return (
            f"{len(self.frames)} frames, {zone} with a sharp zone, {distance} with a subject distance; "
            f"{len(self.problems)} problems"
        )

    def _repr_html_(self) -> str:
        columns = ["file", "preset", "f_number", "focus_distance_m", "subject_distance_m", "in_zone"]
        return _with_table(self, self.frames[[*columns, "counted_as"]].head(8))


@dataclass(frozen=True, slots=True, repr=False)
class Advised:
    """What to set next with one lens."""

    of_lens: LensDecision

    @property
    def decision(self) -> Decision:
        """The decision: ``kind``, ``setting``, ``gain_ratio``, ``why``, ``would_help_most`` and the rest."""
        return self.of_lens.decision

    @property
    def settings(self) -> pd.DataFrame:
        """Every setting that may be advised, the best first."""
        return self.of_lens.settings

    def as_json(self) -> dict[str, Any]:
        """The same as ``auditor advise --json`` prints."""
        return advice_json(self.of_lens)

    def __repr__(self) -> str:
        one, met = self.decision, self.of_lens.subjects
        what = one.kind.replace("_", " ")
        if one.setting is not None:
            ring = format_distance(one.setting.focus_distance_m)
            what += f" to {format_f_number(one.setting.f_number)}, ring on {ring}"
        share = "" if np.isnan(met.share_now) else f"; sharp as set {met.share_now:.0%} of {met.n} subjects"
        return f"{self.of_lens.lens}: {what} ({one.why.replace('_', ' ')}{share})"

    def _repr_html_(self) -> str:
        columns = ["f_number", "focus_distance_m", "share_sharp", "sharp_low", "sharp_high"]
        return _with_table(self, self.settings.reindex(columns=columns).head(8).round(2))


@dataclass(frozen=True, slots=True, repr=False)
class Tuned:
    """What each f-number of a lens brings at its best engraving."""

    of_lens: LensDecision

    @property
    def stops(self) -> pd.DataFrame:
        """One row a stop: the share sharp, and what defocus, motion and diffraction take."""
        return self.of_lens.stops

    def as_json(self) -> dict[str, Any]:
        """The same as ``auditor tune --json`` prints."""
        return tuning_json(self.of_lens)

    def __repr__(self) -> str:
        parts = [f"{format_f_number(stop.f_number)} {stop.expected:.0%}" for stop in self.stops.itertuples()]
        return f"{self.of_lens.lens}: sharp at {', '.join(parts) or 'no stop that could be weighed'}"

    def _repr_html_(self) -> str:
        return _with_table(self, self.stops.round(3))


@dataclass(frozen=True, slots=True, repr=False)
class Audited:
    """Everything that an audit found: the parts of its :class:`~auditor.journey.Audit` by their names."""

    audit: Audit

    @property
    def frames(self) -> pd.DataFrame:
        """The frame table."""
        return self.audit.table

    def __getattr__(self, name: str) -> Any:
        return getattr(self.audit, name)

    def __dir__(self) -> list[str]:
        return sorted({*dir(type(self)), *dir(self.audit)})

    def chart(self, name: str) -> bytes:
        """One chart of the report as PNG: presets or distances."""
        from auditor.show.charts import render_charts

        return render_charts(self.audit, [name])[name].png

    def report(self, folder: str | Path, *, force: bool = False) -> Path:
        """Write every output of ``auditor audit`` into a folder; the page's path is returned."""
        from auditor.show.outputs import write_outputs

        write_outputs(self.audit, Path(folder), force=force)
        return Path(folder) / "report.html"

    def __repr__(self) -> str:
        counts = self.audit.counts
        said = "; ".join(repr(Advised(one)) for one in self.decisions.lenses)
        return (
            f"{counts['frames']} frames, {counts['keepers']} of {counts['marked']} counted ones kept. {said}"
        )

    def _repr_html_(self) -> str:
        columns = ["preset", "hits", "bursts", "hit_rate", "low", "high", "near_limit_m", "far_limit_m"]
        return _with_table(self, self.presets[columns].round(2))


@dataclass(frozen=True, slots=True, repr=False)
class Zone:
    """One sharp zone from typed settings; distances from the sensor plane [m]."""

    near_limit_m: float
    far_limit_m: float
    said: str

    def __repr__(self) -> str:
        near, far = format_distance(self.near_limit_m), format_distance(self.far_limit_m)
        return f"sharp from {near} to {far} ({self.said})"
