"""An item's life drawn on one line to scale: hours gathered, checks, faults, repairs, incidents."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import accumulate
from typing import Final

from rigging.drawing import svg
from rigging.units import BadValue, in_range

HEIGHT: Final = 236.0
_TOP: Final = 44.0
_LINE: Final = 112.0
_LEFT: Final = 4.0
_RIGHT: Final = 96.0
_SIZE: Final = 5.0
_LANE: Final = 15.0
"""Each kind has a lane of its own below the line: what was found and mended on one day stays apart."""
_MOST_H: Final = 1e6


class Kind(StrEnum):
    """What a mark on the line stands for; each has a shape of its own."""

    CHECK = "check"
    FAULT = "fault"
    REPAIR = "repair"
    INCIDENT = "incident"


_FILLS: Final = {
    Kind.CHECK: svg.GROUND,
    Kind.FAULT: svg.RUST,
    Kind.REPAIR: svg.DEEP,
    Kind.INCIDENT: svg.SAND,
}


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that was done to an item or befell it, and when."""

    day: date
    kind: Kind


@dataclass(frozen=True, slots=True)
class Used:
    """Hours on the water of one day."""

    day: date
    hours: float


def item_life_svg(
    first: date,
    last: date,
    used: Sequence[Used],
    marks: Sequence[Mark],
    *,
    hours_before: float = 0.0,
    title: str = "",
    uid: str | None = None,
) -> str:
    """Return a complete SVG of an item's life from its first day to the last.

    Args:
        first: day at the left end.
        last: day at the right end.
        used: hours on the water by day, in any order.
        marks: what was done to it or befell it.
        hours_before: hours it had on the first day [h].
        title: heading and accessible title.
        uid: prefix of the ids, for pages that hold the same drawing twice.

    Raises:
        BadValue: an end that is not after the first day, a day outside, or hours that are none.
    """
    if last <= first:
        raise BadValue("last", last, "", f"a day after {first}")
    for day in (*(each.day for each in used), *(each.day for each in marks)):
        if not first <= day <= last:
            raise BadValue("day", day, "", f"between {first} and {last}")
    days = sorted(used, key=lambda each: each.day)
    gained = [in_range("hours", each.hours, "h", 0, _MOST_H) for each in days]
    begun = in_range("hours_before", hours_before, "h", 0, _MOST_H)
    sums = list(accumulate(gained, initial=begun))
    heading = title or "Life of the item"
    place = _Place(first, last)
    parts = [
        svg.tag("rect", width="100%", height=HEIGHT, rx=10, fill=svg.GROUND),
        svg.text(heading, 12, 24, 15, font_weight="600"),
        svg.stretched(_hours(place, [each.day for each in days], sums), HEIGHT),
        *_ends(first, last, sums[-1]),
        *(_mark(each.kind, svg.percent(place.x(each.day)), _lane(each.kind)) for each in marks),
        *_legend(),
    ]
    return svg.document(
        parts,
        title=heading,
        description=described(first, last, sums[-1], marks),
        css_class="life",
        uid=uid,
        width="100%",
        height=HEIGHT,
    )


def described(first: date, last: date, hours: float, marks: Sequence[Mark]) -> str:
    """Return the drawing in words: its span, the hours, and how many marks of each kind."""
    counts = [(sum(each.kind is kind for each in marks), kind) for kind in Kind]
    told = ", ".join(f"{count} {kind}{'' if count == 1 else 's'}" for count, kind in counts)
    return f"{first:%-d %b %Y} to {last:%-d %b %Y}: {hours:,.1f} h on the water; {told}."


@dataclass(frozen=True, slots=True)
class _Place:
    """Places days along the width, to scale."""

    first: date
    last: date

    def x(self, day: date) -> float:
        return _LEFT + (_RIGHT - _LEFT) * (day - self.first).days / (self.last - self.first).days


def _hours(place: _Place, days: Sequence[date], sums: Sequence[float]) -> str:
    """The hours gathered as steps that end at the top: level between days of use."""
    tallest = sums[-1] or 1.0
    heights = [_LINE - (_LINE - _TOP) * total / tallest for total in sums]
    steps = [(place.x(place.first), _LINE), (place.x(place.first), heights[0])]
    for day, before, after in zip(days, heights, heights[1:], strict=False):
        steps += [(place.x(day), before), (place.x(day), after)]
    steps += [(place.x(place.last), heights[-1]), (place.x(place.last), _LINE)]
    return svg.path(
        f"{svg.fine(steps)}Z",
        fill=svg.FOAM,
        stroke=svg.DEEP,
        stroke_width=1.5,
        vector_effect="non-scaling-stroke",
        class_="hours",
    )


def _ends(first: date, last: date, hours: float) -> list[str]:
    left, right = svg.percent(_LEFT), svg.percent(_RIGHT)
    y = _lane(Kind.INCIDENT) + 22
    return [
        svg.tag("line", x1=left, x2=right, y1=_TOP, y2=_TOP, stroke=svg.SOFT, stroke_dasharray="2 3"),
        svg.text(f"{hours:,.1f} h", right, _TOP - 5, 12, text_anchor="end"),
        svg.tag("line", x1=left, x2=right, y1=_LINE, y2=_LINE, stroke=svg.INK, stroke_width=2),
        svg.text(f"{first:%-d %b %Y}", left, y, 12),
        svg.text(f"{last:%-d %b %Y}", right, y, 12, text_anchor="end"),
    ]


def _lane(kind: Kind) -> float:
    return _LINE + _LANE * (1 + list(Kind).index(kind))


def _mark(kind: Kind, x: float | str, y: float, css_class: str | None = None) -> str:
    """A shape of its own for each kind: circle, cross, square, triangle."""
    size = _SIZE
    shapes: dict[Kind, list[svg.Point]] = {
        Kind.FAULT: _cross(size, 2.0),
        Kind.REPAIR: [(-size, -size), (size, -size), (size, size), (-size, size)],
        Kind.INCIDENT: [(0, -size - 2), (size + 2, size), (-size - 2, size)],
    }
    look: dict[str, float | str | None] = {"fill": _FILLS[kind], "stroke": svg.INK, "stroke_width": 1.5}
    if kind is Kind.CHECK:
        shape = svg.tag("circle", r=size - 1, **look)
    else:
        shape = svg.path(svg.through(shapes[kind], closed=True), **look)
    return svg.tag("svg", shape, x=x, y=y, overflow="visible", class_=css_class or f"mark {kind}")


def _cross(size: float, arm: float) -> list[svg.Point]:
    quarter = [(arm, size), (arm, arm), (size, arm)]
    turned: list[svg.Point] = []
    for _ in range(4):
        turned += quarter
        quarter = [(y, -x) for x, y in quarter]
    return turned


def _legend() -> list[str]:
    y = HEIGHT - 16
    drawn = [
        svg.tag("rect", x=14, y=y - 8, width=16, height=10, fill=svg.FOAM, stroke=svg.DEEP),
        svg.text("hours", 36, y, 12),
    ]
    for number, kind in enumerate(Kind):
        x = 80 + 62.0 * number
        drawn += [_mark(kind, x, y - 4, "legend"), svg.text(kind.value, x + 12, y, 12)]
    return drawn
