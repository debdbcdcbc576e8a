"""Audits a photo archive shot by zone focusing.

The names that a notebook needs, loaded on first use so that importing the package stays quick.

>>> import auditor
>>> "run_audit" in dir(auditor)
True
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from auditor.audit import Audit, run_audit, run_scan
    from auditor.settings import Request, Settings

_HOMES = {
    "Audit": "auditor.audit",
    "run_audit": "auditor.audit",
    "run_scan": "auditor.audit",
    "Request": "auditor.settings",
    "Settings": "auditor.settings",
}

__all__ = ["Audit", "Request", "Settings", "run_audit", "run_scan"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'auditor' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
