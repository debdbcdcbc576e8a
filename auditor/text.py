"""Text at the borders: names that can be written anywhere, and results as valid JSON.

JSON knows neither infinity nor NaN: infinite is null beside a true ``<key>_is_infinite``; unknown is null.
Nothing heavy is imported, so that commands for typed settings start quickly.
"""

import math
import os
import re
from collections.abc import Sequence
from typing import Any

_UNKNOWN = ("NAType", "NaTType")  # what pandas writes for unknown


# Controls, the marks that turn the direction of writing, line separators, lone surrogates, no characters.
_HOSTILE = "\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufeff\ufffe\uffff"
_IN_NAMES = re.compile(f"[\x00-\x1f{_HOSTILE}]")
_IN_LINES = re.compile(f"[\x00-\x08\x0b-\x1f{_HOSTILE}]")
_DIGITS = re.compile(r"[0-9]+")


def printable(name: str) -> str:
    r"""Return a name as text that can be shown anywhere: controls, direction marks, stray bytes as codes.

    >>> print(printable("a\u202eb\x1b"), printable("caf\udce9"))
    a\u202eb\u001b caf\xe9
    """
    return _IN_NAMES.sub(_as_code, name) if _IN_NAMES.search(name) else name


def printable_lines(text: str) -> str:
    """Do as :func:`printable` does for a text of several lines, whose ends and tabs stay."""
    return _IN_LINES.sub(_as_code, text) if _IN_LINES.search(text) else text


def _as_code(found: re.Match[str]) -> str:
    number = ord(found[0])
    return f"\\x{number - 0xDC00:02x}" if 0xDC80 <= number <= 0xDCFF else f"\\u{number:04x}"


def natural_key(path: str) -> str:
    """Return what to sort a name or a path by: folders first, then the name, numbers in it as numbers.

    >>> sorted(["roll 2/1.tif", "roll 10/1.tif", "roll 2/a10.tif", "roll 2/a9.tif"], key=natural_key)
    ['roll 2/1.tif', 'roll 2/a9.tif', 'roll 2/a10.tif', 'roll 10/1.tif']
    """
    padded = _DIGITS.sub(lambda digits: digits[0].lstrip("0").zfill(20), path.casefold())
    return padded.replace(os.sep, "\0").replace("/", "\0")


def shown_path(path: str | os.PathLike[str]) -> str:
    """Return a path as it is shown and kept in results: the home folder as ``~``, nothing unprintable."""
    name = os.fspath(path)
    home = os.path.expanduser("~")
    if len(home) > 1 and (name == home or name.startswith(home.rstrip(os.sep) + os.sep)):
        name = "~" + name[len(home.rstrip(os.sep)) :]
    return printable(name)


def without_home(text: str) -> str:
    """Return a text in which paths below the home folder begin with ``~``."""
    home = os.path.expanduser("~").rstrip(os.sep)
    return text.replace(home + os.sep, f"~{os.sep}") if len(home) > 1 and home in text else text


def collapse(names: Sequence[str], limit: int = 5) -> str:
    """Join names for a sentence, at most ``limit`` of them.

    >>> collapse(["a", "b", "c"], limit=2)
    'a, b and 1 more'
    """
    shown = [printable(name) for name in names[:limit]]
    more = len(names) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def json_safe(value: Any) -> Any:
    """Turn a value, with numpy's and pandas' own kinds in it, into plain JSON values.

    Beside ``far_limit_m`` the flag always stands, since half of all zones end at infinity.

    >>> json_safe({"far_limit_m": math.inf, "near_limit_m": math.nan})
    {'far_limit_m': None, 'far_limit_m_is_infinite': True, 'near_limit_m': None}
    """
    if isinstance(value, dict):
        out: dict[str, Any] = {}
        for key, item in value.items():
            number = item.item() if getattr(item, "ndim", None) == 0 else item  # numpy scalars
            out[key] = json_safe(number)
            infinite = isinstance(number, float) and math.isinf(number)
            if infinite or key == "far_limit_m":
                out[f"{key}_is_infinite"] = infinite
        return out
    if isinstance(value, (list, tuple)):
        return [json_safe(item) for item in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if type(value).__name__ in _UNKNOWN:
        return None
    if hasattr(value, "tolist"):  # numpy arrays and scalars
        return json_safe(value.tolist())
    return str(value)


def json_text(value: Any, *, indent: int | None = 1) -> str:
    """Write a value as valid JSON text."""
    import json  # not at the top: typed commands mostly print text

    text = json.dumps(json_safe(value), ensure_ascii=False, allow_nan=False, indent=indent)
    return _IN_LINES.sub(lambda found: f"\\u{ord(found[0]):04x}", text)  # as JSON itself spells them
