"""A rig drawn to scale from its spec, with the settings on it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, degrees
from textwrap import shorten, wrap
from typing import Final

from rigging.drawing import svg
from rigging.drawing.outline import Outline, sail_outline
from rigging.kit import Base, Boom, Extension, Mast, Sail
from rigging.units import in_range

WIDTH: Final = 420.0
HEIGHT: Final = 612.0
"""Drawing units: about the shape of a postcard (A6), text 11 to 15 units."""

_LEFT: Final = 98.0
_TOP: Final = 48.0
_BOTTOM: Final = 540.0
_SAIL_WIDTH: Final = 236.0
_ROOM: Final = 6.0
_BOOM_TAIL_CM: Final = 8.0
_SLEEVE_CM: Final = 9.0
_WINDOW: Final = (0.13, 0.66)
_SHORT_WORDS: Final = 12
_LONG_WORDS: Final = 16


@dataclass(frozen=True, slots=True)
class _Sheet:
    """Places the rig's centimetres on the drawing."""

    outline: Outline
    scale: float
    ground: float

    def place(self, x_cm: float, y_cm: float) -> svg.Point:
        return (_LEFT + x_cm * self.scale, self.ground - y_cm * self.scale)

    def places(self, points: Sequence[svg.Point]) -> list[svg.Point]:
        return [self.place(x, y) for x, y in points]

    def luff(self, along_cm: float) -> svg.Point:
        return self.place(*self.outline.on_luff(along_cm))

    def luff_run(self, start_cm: float, end_cm: float) -> str:
        steps = 24
        return svg.through(
            [self.luff(start_cm + (end_cm - start_cm) * step / steps) for step in range(steps + 1)]
        )


def rig_svg(
    sail: Sail,
    mast: Mast,
    boom: Boom,
    extension: Extension,
    base: Base,
    *,
    extension_cm: float,
    boom_cm: float,
    boom_height_cm: float,
    head_strap_cm: float = 0.0,
    downhaul: str = "",
    outhaul: str = "",
    line_cm: float | None = None,
    title: str = "",
    uid: str | None = None,
) -> str:
    """Return a complete SVG of the rig, to scale, with its settings.

    Args:
        sail, mast, boom, extension, base: the parts by their specs; all names are escaped.
        extension_cm: collar setting [cm].
        boom_cm: boom length as set, clamp to clew [cm].
        boom_height_cm: clamp over the mast foot along the mast [cm].
        head_strap_cm: strap let out at the head [cm].
        downhaul, outhaul: words of the setting, as "+2 cm".
        line_cm: harness line length [cm].
        title: heading, also the drawing's accessible title; by default the sail's name and area.
        uid: prefix of the ids, for pages that hold the same drawing twice.

    Raises:
        BadValue: for lengths out of range, or a boom too short to reach the clew.
    """
    in_range("extension_cm", extension_cm, "cm", 0, 100)
    in_range("head_strap_cm", head_strap_cm, "cm", 0, 100)
    outline = sail_outline(
        area_m2=sail.area_m2,
        luff_cm=sail.luff_cm,
        boom_cm=boom_cm,
        boom_height_cm=boom_height_cm,
        clew_height_cm=sail.clew_height_cm,
        battens=sail.battens,
    )
    sheet = _sheet(outline, base, extension_cm + mast.length_cm)
    heading = title or f"{sail.name} {sail.area_m2:g} m²"
    rows = _setting_rows(extension_cm, boom_cm, boom_height_cm, head_strap_cm, downhaul, outhaul, line_cm)
    parts = [
        svg.tag("rect", width=WIDTH, height=HEIGHT, rx=10, fill=svg.GROUND),
        svg.text(shorten(heading, 44, placeholder="…"), 16, 28, 18, font_weight="600"),
        *_sail_parts(sheet),
        *_spar_parts(sheet, mast, extension_cm, base),
        *_boom_parts(sheet, boom_cm),
        *_dimensions(sheet, sail, mast, extension_cm, boom_height_cm),
        *_panel(sheet, rows),
        *_parts_list(mast, extension, boom, base),
        *_scale_bar(sheet.scale),
    ]
    return svg.document(
        parts,
        title=heading,
        description=_describe(sail, mast, boom, extension, base, rows),
        css_class="rig-drawing",
        uid=uid,
        viewBox=f"0 0 {WIDTH:g} {HEIGHT:g}",
    )


def _sheet(outline: Outline, base: Base, mast_top_cm: float) -> _Sheet:
    edge = outline.edge
    top = max(outline.on_luff(mast_top_cm)[1], float(edge[:, 1].max()))
    high = (_BOTTOM - _TOP) / (top + base.height_cm)
    wide = _SAIL_WIDTH / float(edge[:, 0].max())
    scale = min(high, wide)
    return _Sheet(outline, scale, _BOTTOM - base.height_cm * scale)


def _sail_parts(sheet: _Sheet) -> list[str]:
    outline = sheet.outline
    luff = [(float(x), float(y)) for x, y in outline.luff]
    sleeve = luff + [(x + _SLEEVE_CM * (1 - 0.55 * y / luff[-1][1]), y) for x, y in reversed(luff)]
    edge = svg.through(sheet.places([(float(x), float(y)) for x, y in outline.edge]), closed=True)
    battens = "".join(svg.through(sheet.places(pair)) for pair in outline.battens)
    clew = sheet.place(*outline.clew)
    return [
        svg.path(edge, fill=svg.FOAM, stroke="none"),
        *([svg.path(_window(sheet), fill=svg.GROUND, stroke=svg.HAIR)] if len(outline.battens) > 2 else []),
        svg.path(svg.through(sheet.places(sleeve), closed=True), fill="#b9d9db", stroke="none"),
        svg.path(battens, stroke=svg.DEEP, stroke_width=2.2, stroke_linecap="round", class_="battens"),
        svg.path(edge, stroke=svg.INK, stroke_width=1.6, stroke_linejoin="round", class_="outline"),
        svg.tag("circle", cx=clew[0] - 4, cy=clew[1], r=2.6, fill=svg.GROUND, stroke=svg.INK),
    ]


def _window(sheet: _Sheet) -> str:
    """The clear panel between the two battens above the boom."""
    low, high = sheet.outline.battens[1:3]

    def along(batten: tuple[svg.Point, svg.Point], share: float) -> svg.Point:
        (x0, y0), (x1, y1) = batten
        return (x0 + (x1 - x0) * share, y0 + (y1 - y0) * share)

    near, far = _WINDOW
    corners = [along(low, near), along(low, far), along(high, far), along(high, near)]
    return svg.through(sheet.places(corners), closed=True)


def _spar_parts(sheet: _Sheet, mast: Mast, extension_cm: float, base: Base) -> list[str]:
    """Mast in its sleeve (dashed), its joint, the extension's collar, the base."""
    top = extension_cm + mast.length_cm
    joint = sheet.luff(extension_cm + mast.length_cm / 2)
    foot, deck = sheet.luff(0.0), sheet.place(0.0, -base.height_cm)
    collar = sheet.luff(extension_cm)
    return [
        svg.path(
            sheet.luff_run(extension_cm, top),
            stroke=svg.INK,
            stroke_width=3,
            stroke_dasharray="9 3",
            class_="mast",
        ),
        svg.path(sheet.luff_run(0.0, extension_cm), stroke=svg.RUST, stroke_width=4.5, class_="extension"),
        svg.line((collar[0] - 6, collar[1]), (collar[0] + 6, collar[1]), stroke=svg.RUST, stroke_width=3),
        svg.line((joint[0] - 7, joint[1]), (joint[0] + 7, joint[1]), stroke=svg.INK, stroke_width=2),
        svg.text("joint", joint[0] + 12, joint[1] + 4, 12, fill=svg.SOFT),
        svg.line(foot, deck, stroke=svg.INK, stroke_width=6, class_="base"),
        svg.line((deck[0] - 16, deck[1]), (deck[0] + 16, deck[1]), stroke=svg.INK, stroke_width=3),
    ]


def _boom_parts(sheet: _Sheet, boom_cm: float) -> list[str]:
    (x0, y0), (x1, y1) = sheet.outline.clamp, sheet.outline.clew
    share = 1 + _BOOM_TAIL_CM / boom_cm
    front, clew = sheet.place(x0, y0), sheet.place(x1, y1)
    tail = sheet.place(x0 + (x1 - x0) * share, y0 + (y1 - y0) * share)
    tilt = degrees(atan2(clew[1] - front[1], clew[0] - front[0]))
    label_x = front[0] + 0.52 * (clew[0] - front[0])
    label_y = front[1] + 0.52 * (clew[1] - front[1]) - 8
    label = svg.text(
        f"boom {boom_cm:g} cm",
        label_x,
        label_y,
        14,
        text_anchor="middle",
        font_weight="600",
        transform=f"rotate({svg.number(tilt)} {svg.number(label_x)} {svg.number(label_y)})",
        stroke=svg.FOAM,
        stroke_width=4,
        paint_order="stroke",
    )
    return [
        svg.line(front, tail, stroke=svg.GROUND, stroke_width=8),
        svg.line(front, tail, stroke=svg.INK, stroke_width=4.5, stroke_linecap="round", class_="boom"),
        svg.tag("rect", x=front[0] - 6, y=front[1] - 7, width=12, height=14, rx=3, fill=svg.RUST),
        svg.line((clew[0], clew[1] - 8), (clew[0], clew[1] + 8), stroke=svg.INK, stroke_width=1.5),
        label,
    ]


def _dimensions(
    sheet: _Sheet, sail: Sail, mast: Mast, extension_cm: float, boom_height_cm: float
) -> list[str]:
    foot, clamp = sheet.luff(0.0)[1], sheet.luff(boom_height_cm)[1]
    collar, top = sheet.luff(extension_cm)[1], sheet.luff(extension_cm + mast.length_cm)[1]
    head = sheet.luff(sail.luff_cm)[1]
    return [
        *_upright(16, foot, head, f"luff {sail.luff_cm:g}"),
        *_upright(37, collar, top, f"mast {mast.length_cm:g}"),
        *(_upright(37, foot, collar, f"{extension_cm:g}", bold=True) if extension_cm > 0 else []),
        *_upright(60, foot, clamp, f"{boom_height_cm:g}", bold=True),
        svg.line(
            (56, clamp), (sheet.luff(boom_height_cm)[0] - 8, clamp), stroke=svg.SOFT, stroke_dasharray="2 3"
        ),
        svg.line(
            (33, collar), (sheet.luff(extension_cm)[0] - 8, collar), stroke=svg.SOFT, stroke_dasharray="2 3"
        ),
    ]


def _upright(x: float, low: float, high: float, words: str, *, bold: bool = False) -> list[str]:
    """An upright dimension line with its words along it, or beside its foot when it is short."""
    middle = (low + high) / 2
    long = low - high > 7.5 * len(words) + _ROOM
    place = (
        {"x": x, "y": middle, "transform": f"rotate(-90 {svg.number(x)} {svg.number(middle)})", "dy": 4}
        if long
        else {"x": x, "y": low + 14, "dy": 0}
    )
    weight = {"font_weight": "600"} if bold else {}
    return [
        svg.line((x, low), (x, high), stroke=svg.SOFT),
        svg.line((x - 4, low), (x + 4, low), stroke=svg.SOFT),
        svg.line((x - 4, high), (x + 4, high), stroke=svg.SOFT),
        svg.tag(
            "text",
            svg.escape(words),
            fill=svg.INK,
            font_size=13,
            text_anchor="middle",
            stroke=svg.GROUND,
            stroke_width=6,
            paint_order="stroke",
            **place,
            **weight,
        ),
    ]


def _setting_rows(
    extension_cm: float,
    boom_cm: float,
    boom_height_cm: float,
    head_strap_cm: float,
    downhaul: str,
    outhaul: str,
    line_cm: float | None,
) -> list[tuple[str, str]]:
    return [
        ("Extension", f"{extension_cm:g} cm"),
        *([("Head strap", f"{head_strap_cm:g} cm")] if head_strap_cm > 0 else []),
        ("Boom length", f"{boom_cm:g} cm"),
        ("Boom height", f"{boom_height_cm:g} cm"),
        *([("Downhaul", downhaul)] if downhaul else []),
        *([("Outhaul", outhaul)] if outhaul else []),
        *([("Harness line", f"{line_cm:g} cm")] if line_cm is not None else []),
    ]


def _panel(sheet: _Sheet, rows: list[tuple[str, str]]) -> list[str]:
    """The settings in the free corner above the leech, largest words of the drawing."""
    right, y = WIDTH - 16, 62.0
    drawn = []
    for name, value in rows:
        drawn.append(svg.text(name, right, y, 12.5, fill=svg.SOFT, text_anchor="end"))
        y += 17
        short = len(value) <= _SHORT_WORDS
        for words in wrap(value, _SHORT_WORDS if short else _LONG_WORDS):
            drawn.append(svg.text(words, right, y, 16 if short else 13, text_anchor="end", font_weight="600"))
            y += 17
        y += 4
    return drawn


def _parts_list(mast: Mast, extension: Extension, boom: Boom, base: Base) -> list[str]:
    lines = (
        ("Mast", f"{mast.name} {mast.length_cm:g} {mast.diameter.value}"),
        ("Boom", f"{boom.name} {boom.min_cm:g}–{boom.max_cm:g}"),
        ("Extension", extension.name),
        ("Base", base.name),
    )
    drawn = []
    for place, (name, words) in enumerate(lines):
        x, y = (16.0, 228.0)[place % 2], HEIGHT - 44 + 18 * (place // 2)
        drawn.append(svg.text(name, x, y, 12, fill=svg.SOFT))
        drawn.append(svg.text(shorten(words, 20, placeholder="…"), x + (66, 42)[place % 2], y, 13))
    return drawn


def _scale_bar(scale: float) -> list[str]:
    length = 50 * scale
    x, y = WIDTH - 16 - length, HEIGHT - 70
    return [
        svg.line((x, y), (x + length, y), stroke=svg.SOFT, stroke_width=1.5),
        svg.line((x, y - 4), (x, y), stroke=svg.SOFT),
        svg.line((x + length, y - 4), (x + length, y), stroke=svg.SOFT),
        svg.text("50 cm", x - 6, y, 12, fill=svg.SOFT, text_anchor="end"),
    ]


def _describe(
    sail: Sail, mast: Mast, boom: Boom, extension: Extension, base: Base, rows: list[tuple[str, str]]
) -> str:
    settings = "; ".join(f"{name.lower()} {value}" for name, value in rows)
    return (
        f"Rig to scale: sail {sail.name}, {sail.area_m2:g} m², luff {sail.luff_cm:g} cm, "
        f"{sail.battens} battens; "
        f"mast {mast.name} {mast.length_cm:g} cm {mast.diameter.value}; extension {extension.name}; "
        f"boom {boom.name}; base {base.name}. Settings: {settings}."
    )
