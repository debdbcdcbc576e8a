"""Results as valid JSON, which knows neither infinity nor NaN.

Infinite is null beside a true ``<key>_is_infinite``; unknown is null. Nothing heavy is imported, so that
commands for typed settings start quickly.
"""

from __future__ import annotations

import math
from typing import Any

_UNKNOWN = ("NAType", "NaTType")  # what pandas writes for unknown


def plain(value: Any) -> Any:
    """Turn a value, with numpy's and pandas' own kinds in it, into plain JSON values.

    Beside ``far_limit_m`` the flag always stands, since half of all zones end at infinity.

    Examples
    --------
    >>> plain({"far_limit_m": math.inf, "near_limit_m": math.nan})
    {'far_limit_m': None, 'far_limit_m_is_infinite': True, 'near_limit_m': None}
    """
    if isinstance(value, dict):
        out: dict[str, Any] = {}
        for key, item in value.items():
            number = item.item() if getattr(item, "ndim", None) == 0 else item  # numpy scalars
            out[key] = plain(number)
            infinite = isinstance(number, float) and math.isinf(number)
            if infinite or key == "far_limit_m":
                out[f"{key}_is_infinite"] = infinite
        return out
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if type(value).__name__ in _UNKNOWN:
        return None
    if hasattr(value, "tolist"):  # numpy arrays and scalars
        return plain(value.tolist())
    return str(value)


def json_text(value: Any, *, indent: int | None = 1) -> str:
    """Write a value as valid JSON text."""
    import json  # not at the top: typed commands mostly print text

    return json.dumps(plain(value), ensure_ascii=False, allow_nan=False, indent=indent)
