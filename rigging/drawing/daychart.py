"""A day's rigs over the hours: when each is built, who has it when, and who is out with it now.

Places along the day are percentages and heights are pixels, so words keep their size on a telephone and on
a wide screen. What a bar is shows by its outline and its word, not by its colour alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from enum import StrEnum
from math import ceil
from typing import Final

from rigging.drawing import svg
from rigging.units import BadValue, aware, in_range

_LEFT: Final = 2.0
_RIGHT: Final = 98.0
_TOP: Final = 66.0
_LANE: Final = 48.0
_BAR: Final = 24.0
_BAR_DOWN: Final = 20.0
_FOOT: Final = 34.0
_MOST_HOUR_LABELS: Final = 9
_MOST_LANES: Final = 500
_LONGEST_H: Final = 72
_HALF: Final = 50.0


class Use(StrEnum):
    """What a rig is in for a span."""

    BUILD = "built"
    RIDE = "for a rider"
    OUT = "out"


@dataclass(frozen=True, slots=True)
class Bar:
    """A span of a rig, with zone, and a word on it."""

    start: datetime
    end: datetime
    use: Use
    label: str


@dataclass(frozen=True, slots=True)
class Lane:
    """One rig and its day."""

    label: str
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True)
class _Day:
    """Places moments: per cent along."""

    start: datetime
    end: datetime

    def x(self, moment: datetime) -> float:
        inside = min(max(moment, self.start), self.end)
        return _LEFT + (_RIGHT - _LEFT) * ((inside - self.start) / (self.end - self.start))


def day_chart_svg(
    lanes: Sequence[Lane],
    now: datetime | None,
    start: datetime,
    end: datetime,
    *,
    zone: tzinfo,
    title: str = "Rigs of the day",
    uid: str | None = None,
) -> str:
    """Return a complete SVG of a day's rigs, one under the other.

    Args:
        lanes: rigs in the order drawn, at most 500; of each bar what lies in the span is drawn.
        now: the moment of the now line, or None for none.
        start, end: the span drawn, with zone; more than 0 and at most 72 h.
        zone: the station's zone, for the hours along the day.
        title: heading and accessible title.
        uid: prefix of the ids, for pages that hold the same drawing twice.

    Raises:
        BadValue: for a span or a bar that doesn't run forward, datetimes without zone, too many lanes.
    """
    start, end = aware("start", start), aware("end", end)
    in_range("span", (end - start) / timedelta(hours=1), "h", 1 / 60, _LONGEST_H)
    in_range("lanes", len(lanes), "", 0, _MOST_LANES)
    checked = [_checked(lane) for lane in lanes]
    day = _Day(start, end)
    floor = _TOP + _LANE * len(checked)
    parts = [
        svg.tag("rect", width="100%", height=floor + _FOOT, rx=10, fill=svg.GROUND),
        svg.text(title, 12, 21, 15, font_weight="600"),
        *_hours(day, zone, floor),
        *(_now(day, now, zone, floor) if now is not None and start <= aware("now", now) <= end else []),
        *(drawn for place, lane in enumerate(checked) for drawn in _lane(day, lane, _TOP + _LANE * place)),
        *_legend(floor + _FOOT - 12),
    ]
    return svg.document(
        parts,
        title=title,
        description=_describe(checked, zone),
        css_class="day-chart",
        uid=uid,
        width="100%",
        height=floor + _FOOT,
    )


def _checked(lane: Lane) -> Lane:
    for bar in lane.bars:
        if aware("bar.end", bar.end) <= aware("bar.start", bar.start):
            raise BadValue("bar.end", bar.end.isoformat(), "", f"after its start at {bar.start.isoformat()}")
    return lane


_LOOKS: Final[dict[Use, dict[str, float | str | None]]] = {
    Use.BUILD: {"fill": svg.SAND, "stroke": svg.RUST, "stroke_dasharray": "4 3"},
    Use.RIDE: {"fill": svg.FOAM, "stroke": svg.DEEP},
    Use.OUT: {"fill": svg.DEEP, "stroke": svg.INK, "stroke_width": 2},
}
_WORDS: Final = {Use.BUILD: svg.INK, Use.RIDE: svg.INK, Use.OUT: svg.GROUND}


def _lane(day: _Day, lane: Lane, y: float) -> list[str]:
    """The rig's name over its bars, each with its word cut at its end."""
    drawn = [
        svg.tag("line", x1="0", x2="100%", y1=y, y2=y, stroke=svg.HAIR),
        svg.text(lane.label, 12, y + 15, 13, font_weight="600"),
    ]
    for bar in lane.bars:
        left, right = day.x(bar.start), day.x(bar.end)
        if right > left:
            drawn += _bar(bar, left, right - left, y + _BAR_DOWN)
    return drawn


def _bar(bar: Bar, left: float, width: float, y: float) -> list[str]:
    at = {"x": svg.percent(left), "width": svg.percent(width)}
    box = svg.tag("rect", **at, y=y, height=_BAR, rx=3, **_LOOKS[bar.use])
    word = svg.text(bar.label, 5, 16, 12, fill=_WORDS[bar.use])
    return [box, svg.tag("svg", word, **at, y=y, height=_BAR)] if bar.label else [box]


def _hours(day: _Day, zone: tzinfo, floor: float) -> list[str]:
    span_h = (day.end - day.start) / timedelta(hours=1)
    every = next(each for each in (1, 2, 3, 4, 6, 12) if span_h / each <= _MOST_HOUR_LABELS or each == 12)
    first = day.start.astimezone(zone).replace(minute=0, second=0, microsecond=0)
    drawn = []
    for mark in (first + timedelta(hours=hour) for hour in range(ceil(span_h) + 2)):
        if day.start <= mark <= day.end and mark.hour % every == 0:
            x = svg.percent(day.x(mark))
            drawn.append(svg.tag("line", x1=x, x2=x, y1=_TOP - 8, y2=floor, stroke=svg.HAIR))
            drawn.append(svg.text(f"{mark:%H}", x, _TOP - 14, 12, text_anchor="middle"))
    return drawn


def _now(day: _Day, now: datetime, zone: tzinfo, floor: float) -> list[str]:
    at = day.x(now)
    x = svg.percent(at)
    return [
        svg.tag("line", x1=x, x2=x, y1=_TOP - 10, y2=floor, stroke=svg.INK, stroke_width=1.5, class_="now"),
        svg.text(
            f"now {now.astimezone(zone):%H:%M}",
            x,
            _TOP - 28,
            12,
            text_anchor="start" if at < _HALF else "end",
            font_weight="600",
        ),
    ]


def _legend(y: float) -> list[str]:
    drawn = []
    for place, use in enumerate(Use):
        x = 14 + 110 * place
        drawn.append(svg.tag("rect", x=x, y=y - 11, width=22, height=14, rx=3, **_LOOKS[use]))
        drawn.append(svg.text(use.value, x + 28, y, 12))
    return drawn


def _describe(lanes: Sequence[Lane], zone: tzinfo) -> str:
    if not lanes:
        return "No rig is planned."
    return " ".join(f"{lane.label}: {_said(lane, zone)}." for lane in lanes)


def _said(lane: Lane, zone: tzinfo) -> str:
    spans = (
        f"{bar.start.astimezone(zone):%H:%M}-{bar.end.astimezone(zone):%H:%M} {bar.use} {bar.label}".strip()
        for bar in lane.bars
    )
    return "; ".join(spans) or "nothing"
