"""Audits a photo archive shot by zone focusing.

The names that a notebook needs, loaded on first use so that importing the package stays quick.

>>> import auditor
>>> "audit" in dir(auditor)
True
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from auditor.notebook.door import advise, audit, scan, tune, zone
    from auditor.optics.blur import defocus_mm as blur_at
    from auditor.optics.lens import hyperfocal_m as hyperfocal
    from auditor.optics.lens import sharp_zone

_HOMES = {
    "advise": ("auditor.notebook.door", "advise"),
    "audit": ("auditor.notebook.door", "audit"),
    "blur_at": ("auditor.optics.blur", "defocus_mm"),
    "hyperfocal": ("auditor.optics.lens", "hyperfocal_m"),
    "scan": ("auditor.notebook.door", "scan"),
    "sharp_zone": ("auditor.optics.lens", "sharp_zone"),
    "tune": ("auditor.notebook.door", "tune"),
    "zone": ("auditor.notebook.door", "zone"),
}

__all__ = ["advise", "audit", "blur_at", "hyperfocal", "scan", "sharp_zone", "tune", "zone"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        home, own = _HOMES[name]
        return getattr(import_module(home), own)
    raise AttributeError(f"module 'auditor' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
