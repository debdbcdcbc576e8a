"""SVG that grows with the page: places along are per cent, heights and type stay in pixels.

So one picture serves a telephone and a desk, and its smallest letter is never scaled away.
"""

from markupsafe import Markup


def element(name: str, *content: str, **attributes: object) -> Markup:
    """Write an element; ``class_`` is class, other underscores are hyphens, None leaves an attribute out.

    >>> print(element("text", "a < b", x="5%", text_anchor="end"))
    <text x="5%" text-anchor="end">a &lt; b</text>
    """
    names = Markup("").join(
        Markup(' {}="{}"').format(key.rstrip("_").replace("_", "-"), value)
        for key, value in attributes.items()
        if value is not None
    )
    whole = Markup("<{0}{1}>{2}</{0}>") if content else Markup("<{0}{1}/>")
    return whole.format(name, names, Markup("").join(content))


def along(share: float) -> str:
    """Place on the width of the picture.

    >>> along(0.34567)
    '34.57%'
    """
    return f"{100 * share:.2f}".rstrip("0").rstrip(".") + "%"


def line(x: str, y: object, to_x: str, to_y: object, kind: str) -> Markup:
    """Write a straight line from one place to another."""
    return element("line", x1=x, x2=to_x, y1=y, y2=to_y, class_=kind)


def label(text: str, x: str, y: object, anchor: str = "middle", **more: object) -> Markup:
    """Write words at a place."""
    return element("text", text, x=x, y=y, **more, class_="label", text_anchor=anchor)


def shape_at(x: str, y: object, shape: Markup) -> Markup:
    """Put a shape, drawn around 0, at a place along that only per cent can name."""
    return element("svg", shape, x=x, y=y, width=1, height=1, overflow="visible")


def picture(label: str, height: float, *content: str, **attributes: object) -> Markup:
    """Write a picture as wide as its place, with its finding in words; without one, hidden from readers."""
    said: dict[str, object] = {"role": "img", "aria_label": label} if label else {"aria_hidden": "true"}
    return element("svg", *content, width="100%", height=f"{height:.0f}", **(said | attributes))


def stretched(path: str, **attributes: object) -> Markup:
    """Write a path in thousandths of the picture around it, along and down; lines keep their width."""
    drawn = element("path", d=path, vector_effect="non-scaling-stroke", **attributes)
    box = {"viewBox": "0 0 1000 1000", "preserveAspectRatio": "none", "width": "100%", "height": "100%"}
    return element("svg", drawn, **box)
