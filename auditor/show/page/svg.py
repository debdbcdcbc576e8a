"""SVG that grows with the page: places along are per cent, heights and type stay in pixels.

So one picture serves a telephone and a desk, and its smallest letter is never scaled away.
"""

from __future__ import annotations

from markupsafe import Markup, escape


def element(name: str, *content: str, **attributes: object) -> Markup:
    """Write an element; ``class_`` is class, other underscores are hyphens, None leaves an attribute out.

    Examples
    --------
    >>> print(element("text", "a < b", x="5%", text_anchor="end"))
    <text x="5%" text-anchor="end">a &lt; b</text>
    """
    given = ((key, value) for key, value in attributes.items() if value is not None)
    names = Markup("").join(
        Markup(' {}="{}"').format(key.rstrip("_").replace("_", "-"), value) for key, value in given
    )
    inside = Markup("").join(escape(part) for part in content)
    if not content:
        return Markup("<{0}{1}/>").format(name, names)
    return Markup("<{0}{1}>{2}</{0}>").format(name, names, inside)


def along(share: float) -> str:
    """Place on the width of the picture.

    Examples
    --------
    >>> along(0.34567)
    '34.57%'
    """
    return f"{100 * share:.2f}".rstrip("0").rstrip(".") + "%"


def picture(label: str, height: float, *content: str, **attributes: object) -> Markup:
    """Write a picture as wide as its place, with its finding in words; without one, hidden from readers."""
    said: dict[str, object] = {"role": "img", "aria_label": label} if label else {"aria_hidden": "true"}
    return element("svg", *content, width="100%", height=f"{height:.0f}", **(said | attributes))


def stretched(path: str, **attributes: object) -> Markup:
    """Write a path in thousandths of the picture around it, along and down; lines keep their width."""
    return element(
        "svg",
        element("path", d=path, vector_effect="non-scaling-stroke", **attributes),
        viewBox="0 0 1000 1000",
        preserveAspectRatio="none",
        width="100%",
        height="100%",
    )
