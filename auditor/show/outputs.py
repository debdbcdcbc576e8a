"""Writes the results of an audit: JSON, CSV tables, charts and the report.

``audit.json`` is written first: a folder that holds it is never read as photographs, even when the disk
runs full half way.
"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from auditor.advice.result import as_json
from auditor.errors import OutputError
from auditor.evidence.tolerance import Tolerance
from auditor.intake.tables import TABLE_NAME, to_csv_text, to_json_rows
from auditor.journey import Audit
from auditor.show.advice_card import advised_card
from auditor.show.card_drawing import card_bytes
from auditor.show.charts import render_charts
from auditor.show.report import build_report
from auditor.text import json_safe, json_text


def audit_json(audit: Audit) -> dict[str, Any]:
    """The audit as plain JSON values, keys as the contract names them."""
    return {
        "counts": json_safe(audit.counts),
        "settings": json_safe(asdict(audit.settings)),
        "sessions": _rows(audit.sessions),
        "presets": _rows(audit.presets),
        "distances": _rows(audit.distances),
        "counted_to_the_end": json_safe(audit.to_end),
        "comparisons": _rows(audit.comparisons.pairs),
        "distances_met": {
            "p_value_same_distances": json_safe(audit.distances_met.p_value),
            "presets": _rows(audit.distances_met.presets),
        },
        "zone_check": json_safe(asdict(audit.zone_check)),
        "tolerance": _tolerance(audit.tolerance),
        "causes": json_safe({name: getattr(audit.causes, name) for name in _CAUSES})
        | {"by_preset": _rows(audit.causes.by_preset)},
        "telling_frames": _rows(audit.telling),
        "over_time": _rows(audit.over_time.sessions),
        "advice": as_json(audit.advice) if audit.advice is not None else None,
        "tuning": as_json(audit.tuning) if audit.tuning is not None else None,
        **_measured(audit),
        "no_advice": audit.no_advice,
        "remarks": audit.remarks,
        "problems": [asdict(problem) for problem in audit.problems],
    }


_CAUSES = (
    "in_front_of_zone", "beyond_zone", "subject_motion", "diffraction", "not_explained_by_blur",
    "no_distance",
    "sibling_kept", "at_focus",
)  # fmt: skip
_TOLERANCE = (
    "blur_mm", "low", "high", "times_handbook", "ceiling", "floor", "steepness", "bursts", "hits", "flags",
    "fit_p_value", "ranges",
)  # fmt: skip


def _tolerance(tolerance: Tolerance) -> dict[str, Any]:
    own: dict[str, Any] = json_safe({name: getattr(tolerance, name) for name in _TOLERANCE})
    return own | {"by_lens": {lens: _tolerance(fitted) for lens, fitted in tolerance.by_lens.items()}}


def _measured(audit: Audit) -> dict[str, Any]:
    """What pictures told; no key where none was measured."""
    out: dict[str, Any] = {}
    if audit.pictures is not None:
        told = audit.pictures
        out["pictures"] = json_safe(
            {"detector": told.detector, "counts": told.counts, "refused": told.refused}
        )
    if audit.measured_blur is not None:
        blur = audit.measured_blur
        out["measured_blur"] = {
            "frames": _rows(blur.frames.drop(columns="row")),
            "presets": _rows(blur.presets),
            **json_safe({name: getattr(blur, name) for name in _SHARES_MEASURED}),
        }
        out["rings"] = [json_safe(asdict(check)) for check in audit.rings]
    return out


_SHARES_MEASURED = (
    "keepers", "keepers_measured", "others", "others_measured", "difference", "low", "high",
)  # fmt: skip


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    out = table.copy()
    for name in out.select_dtypes("datetime"):
        out[name] = out[name].dt.strftime("%Y-%m-%dT%H:%M:%S")
    return to_json_rows(out)


def write_outputs(audit: Audit, folder: Path, *, pictures: bool = False) -> list[Path]:
    """Write every output of an audit into a folder, which is made if it is not there.

    Parameters
    ----------
    audit : Audit
    folder : Path
    pictures : bool
        Whether small pictures of the most telling frames go into the report.

    Returns
    -------
    list of Path
        What was written, in that order.

    Raises
    ------
    OutputError
        If the folder or a file in it cannot be written.
    """
    written: list[Path] = []

    def write(name: str, content: str | bytes) -> None:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        written.append(path)

    try:
        write("audit.json", json_text(audit_json(audit)))
        write(TABLE_NAME, to_csv_text(audit.table))
        write("presets.csv", to_csv_text(audit.presets))
        write("distances.csv", to_csv_text(audit.distances))
        charts = render_charts(audit)
        for name, (svg, png) in charts.items():
            write(f"charts/{name}.svg", svg)
            write(f"charts/{name}.png", png)
        card = advised_card(audit.advice, audit.settings.units) if audit.advice is not None else None
        if card is not None:
            write("card.pdf", card_bytes(card, ".pdf"))
        write("report.html", build_report(audit, charts, folder, pictures=pictures))
    except OSError as error:
        raise OutputError(
            f"{folder} cannot be written: {error.strerror}.",
            "Free some space or name another folder with --out; what is there may be incomplete.",
        ) from None
    return written
