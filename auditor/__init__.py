"""Audits a photo archive shot by zone focusing.

The names that a notebook needs, loaded on first use so that importing the package stays quick.

>>> import auditor
>>> "run_audit" in dir(auditor)
True
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from auditor.advice.decide import decide
    from auditor.journey import Audit, run_audit, run_scan
    from auditor.settings import Request, Settings
    from auditor.show.charts import render_charts
    from auditor.show.report import build_report

_HOMES = {
    "Audit": "auditor.journey",
    "run_audit": "auditor.journey",
    "run_scan": "auditor.journey",
    "Request": "auditor.settings",
    "Settings": "auditor.settings",
    "build_report": "auditor.show.report",
    "decide": "auditor.advice.decide",
    "render_charts": "auditor.show.charts",
}

__all__ = ["Audit", "Request", "Settings", "build_report", "decide", "render_charts", "run_audit", "run_scan"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'auditor' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
