"""SVG as text: escaped, accessible, and free of style attributes, style elements and scripts.

Presentation attributes only, so that pages with a strict content security policy can hold it inline.
Every drawing brings its own white ground: it reads the same on a dark page and on paper.
"""

from collections.abc import Iterable, Sequence
from typing import Final
from xml.sax.saxutils import escape as _escape
from zlib import crc32

Point = tuple[float, float]

FONT: Final = "system-ui, sans-serif"

INK: Final = "#16242b"
SOFT: Final = "#5a6b73"
HAIR: Final = "#c9d3d6"
GROUND: Final = "#ffffff"
DEEP: Final = "#0b5c6b"
FOAM: Final = "#d8ecec"
RUST: Final = "#a8431a"
SAND: Final = "#f3e3c3"
"""Our palette. Deep and rust differ in lightness and in hue for every kind of colour vision; no meaning
hangs on colour alone: dashes, shapes and words carry it too."""


_UNPRINTABLE: Final = dict.fromkeys((*range(32), 0x7F, *range(0xD800, 0xE000), 0xFFFE, 0xFFFF), " ")
"""Characters that XML refuses even escaped."""


def escape(words: str) -> str:
    """Words made safe for text and for attributes in double quotes."""
    return _escape(words.translate(_UNPRINTABLE), {'"': "&quot;"})


def number(value: float) -> str:
    """A coordinate, to a tenth of a unit, without a trailing zero."""
    return f"{round(value, 1) + 0.0:g}"


def tag(name: str, content: str = "", /, **attributes: float | str | None) -> str:
    """One element. In names of attributes `_` becomes `-` and a last `_` is dropped; None is left out."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_value(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{written}>{content}</{name}>" if content else f"<{name}{written}/>"


def _value(value: float | str) -> str:
    return escape(value) if isinstance(value, str) else number(value)


def text(words: str, x: float | str, y: float, size: float = 13, **attributes: float | str | None) -> str:
    """Escaped words at a place; attributes as for `tag`."""
    return tag("text", escape(words), x=x, y=y, **{"fill": INK, "font_size": size, **attributes})


def line(start: Point, end: Point, **attributes: float | str | None) -> str:
    """A straight line; attributes as for `tag`."""
    given: dict[str, float | str | None] = {"stroke": INK, "stroke_width": 1, **attributes}
    return tag("line", x1=start[0], y1=start[1], x2=end[0], y2=end[1], **given)


def path(d: str, **attributes: float | str | None) -> str:
    """A path of given commands; attributes as for `tag`."""
    return tag("path", d=d, **{"fill": "none", "stroke": INK, "stroke_width": 1, **attributes})


def through(points: Sequence[Point], *, closed: bool = False) -> str:
    """Path commands for straight strokes through points."""
    if not points:
        return ""
    strokes = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    return f"M{strokes}{'Z' if closed else ''}"


def percent(value: float) -> str:
    """A place along the width of a drawing whose words keep their size while it stretches."""
    return f"{value:.2f}%"


def fine(points: Sequence[Point]) -> str:
    """Path commands with hundredths, for `stretched`: a tenth of a per cent shows on a wide screen."""
    return "M" + "L".join(f"{x:.2f} {y:.1f}" for x, y in points)


def stretched(content: str, height: float) -> str:
    """A layer whose x axis is per cent of the width; strokes keep their width by `vector_effect`."""
    return tag(
        "svg",
        content,
        width="100%",
        height=height,
        viewBox=f"0 0 100 {height:g}",
        preserveAspectRatio="none",
    )


def name_of(*words: str) -> str:
    """A prefix for ids, the same for the same words."""
    return f"d{crc32('/'.join(words).encode(errors='replace')):08x}"


def document(
    parts: Iterable[str],
    *,
    title: str,
    description: str,
    css_class: str,
    uid: str | None = None,
    **attributes: float | str | None,
) -> str:
    """A complete drawing: role, title and description with ids of their own, then the parts.

    Two drawings with the same words on one page need different `uid`s; by default it is made of the words.
    """
    name = uid or name_of(css_class, title, description)
    return tag(
        "svg",
        tag("title", escape(title) or " ", id=f"{name}-t")
        + tag("desc", escape(description) or " ", id=f"{name}-d")
        + "".join(parts),
        xmlns="http://www.w3.org/2000/svg",
        role="img",
        class_=css_class,
        aria_labelledby=f"{name}-t",
        aria_describedby=f"{name}-d",
        font_family=FONT,
        **attributes,
    )
