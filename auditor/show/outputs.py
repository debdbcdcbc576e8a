"""Writes the results of an audit: JSON, CSV tables, charts and the report."""

from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from auditor.advice.as_json import advice_json, tuning_json
from auditor.advice.past import ADVICE_NAME, renewed_text
from auditor.advice.this_walk import Diary
from auditor.evidence.causes import Causes
from auditor.evidence.tolerance import Tolerance
from auditor.intake.library.collector import without_collector
from auditor.intake.library.thumbnails import thumbnails
from auditor.intake.tables import TABLE_NAME, csv_parts, to_json_rows
from auditor.journey import Audit
from auditor.show.card_faces import advised_card
from auditor.show.charts import render_charts
from auditor.show.decided import lenses_of
from auditor.show.page.model import LensView
from auditor.show.page.shown_frames import MOST_THUMBNAILS, rows_shown
from auditor.show.page.view import lens_views
from auditor.show.report import build_report
from auditor.show.wallet import wallet_bytes
from auditor.text import json_safe, json_text, without_home
from auditor.writing import Data, ResultsFolder


def audit_json(audit: Audit) -> dict[str, Any]:
    """The audit as plain JSON values, keys as the contract names them."""
    lenses = audit.decisions.lenses
    names = tuple(one.lens for one in lenses)
    return {
        "counts": json_safe(audit.counts),
        "settings": json_safe(asdict(audit.settings) | {"coc": without_home(audit.settings.coc)}),
        "sessions": _rows(audit.sessions),
        "presets": _rows(audit.presets),
        "distances": _rows(audit.distances),
        "counted_to_the_end": json_safe(audit.to_end),
        "comparisons": _rows(audit.comparisons),
        "distances_met": {
            "p_value_same_distances": json_safe(audit.distances_met.p_value),
            "presets": _rows(audit.distances_met.presets),
        },
        "zone_check": json_safe(asdict(audit.zone_check)),
        "without_distances": _rows(audit.unheard),
        "tolerance": _tolerance(audit.tolerance),
        "causes": _causes(audit.causes),
        **_diary(audit.diary),
        "flash": _rows(audit.flash),
        "several_subjects": audit.company,
        "line_presses": [_some_of(one, _LINE) for one in audit.lines],
        "advice": advice_json(lenses[0], names[1:]) if lenses else None,
        "other_advice": [advice_json(one, tuple(n for n in names if n != one.lens)) for one in lenses[1:]],
        "tuning": tuning_json(lenses[0]) if lenses else None,
        **({} if audit.pictures is None else {"pictures": _some_of(audit.pictures, _PICTURES)}),
        "problems": [{"files": one.all_files} | _some_of(one, _PROBLEM) for one in audit.problems],
        "remarks": audit.remarks,
    }


_LINE = (
    "preset", "line_m", "bursts", "median_m", "low_m", "high_m", "before", "behind", "longest_s", "timed",
    "slower",
)  # fmt: skip
_PROBLEM = ("what", "next", "ignored", "frames")
_PICTURES = ("detector", "counts", "refused", "only_who_faced_the_camera")
_TOLERANCE = (
    "times_handbook", "ceiling", "floor", "steepness", "bursts", "nothing", "flags", "used", "seen_at",
)  # fmt: skip


def _tolerance(tolerance: Tolerance) -> dict[str, Any]:
    eye, sharp, keep = tolerance.eye, asdict(tolerance.sharp), asdict(tolerance.keep)
    values: dict[str, Any] = json_safe({"blur_mm": eye.blur_mm, "low": eye.low, "high": eye.high})
    values |= _some_of(tolerance, _TOLERANCE)
    values["sharp"] = json_safe(sharp | {"verdicts": sharp.pop("count")})
    values["keep"] = json_safe(keep | {"keepers": keep.pop("count")})
    return values | {"by_lens": {lens: _tolerance(fitted) for lens, fitted in tolerance.by_lens.items()}}


def _causes(causes: Causes) -> dict[str, Any]:
    values = causes.table["frames"].to_dict() | {
        "no_distance": causes.no_distance,
        "sibling_kept": causes.sibling_kept,
        "of_100": causes.table["of_100"].to_dict(),
        "at_focus": causes.at_focus,
    }
    return {**json_safe(values), "by_preset": _rows(causes.by_preset)}


def _some_of(found: Any, names: Iterable[str]) -> dict[str, Any]:
    values: dict[str, Any] = json_safe({name: getattr(found, name) for name in names})
    return values


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    out = table.copy()
    for name in out.select_dtypes("datetime"):
        out[name] = out[name].dt.strftime("%Y-%m-%dT%H:%M:%S")
    return to_json_rows(out)


def _diary(diary: Diary | None) -> dict[str, Any]:
    """Walks over time, one of them closely, and what became of what was advised before."""
    if diary is None:
        return {"walks": [], "drifts": [], "walk": None, "past_advice": []}
    walk = {"session": diary.walk["session"], "presets": _rows(diary.presets), "new": diary.new,
            "telling_frames": _rows(diary.telling), "second_look": diary.again}  # fmt: skip
    values: dict[str, Any] = {"drifts": [asdict(one) for one in diary.drifts], "walk": walk}
    values["past_advice"] = [asdict(one) for one in diary.followed]
    return {"walks": _rows(diary.walks), **json_safe(values)}


def _unreadable(audit: Audit) -> pd.DataFrame:
    """Every file that could not be read, and why."""
    rows = [(file, p.what) for p in audit.problems if p.unread for file in p.all_files]
    return pd.DataFrame(rows, columns=["file", "why"], dtype="str")


@without_collector()
def write_outputs(
    audit: Audit,
    folder: Path,
    views: tuple[LensView, ...] | None = None,
    *,
    pictures: bool = True,
    cache: Path | None = None,
    force: bool = False,
) -> list[Path]:
    """Write every output of an audit into a folder; OutputError if a file may not be replaced."""
    files: dict[str, Data] = {
        "audit.json": json_text(audit_json(audit)),
        TABLE_NAME: csv_parts(audit.table),
        "presets.csv": csv_parts(audit.presets),
        "distances.csv": csv_parts(audit.distances),
        "unreadable.csv": csv_parts(_unreadable(audit)),
    }
    if audit.past.sum or not audit.past.problems:
        files[ADVICE_NAME] = renewed_text(audit.past, audit.decisions, audit.table, audit.settings)
    for name, (svg, png) in render_charts(audit).items():
        files |= {f"charts/{name}.svg": svg, f"charts/{name}.png": png}
    if cards := [card for lens in lenses_of(audit) if (card := advised_card(audit, lens))]:
        files["card.pdf"] = wallet_bytes(cards, folder / "card.pdf", "a4")
    chosen = lens_views(audit) if views is None else views
    rows = rows_shown(chosen, audit)[:MOST_THUMBNAILS] if pictures else []
    made = thumbnails([audit.paths[row] for row in rows], cache)
    held = {row: jpeg for row, jpeg in zip(rows, made, strict=True) if jpeg is not None}
    files["report.html"] = build_report(audit, folder, views=chosen, thumbnails=held)
    return ResultsFolder(folder, force=force).write_all(files, taken_in={ADVICE_NAME: audit.past.sum})
