"""A wind day: mean, gusts and direction over the hours, with windows of sails across it.

Places along the day are percentages and heights are pixels, so words and arrows keep their size on a
telephone and on a wide screen: give the drawing a width (100 % by default), never a scale.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from math import ceil, isfinite
from typing import Final, Protocol

from rigging.drawing import svg
from rigging.units import BEAUFORT_MS, TO_SI, BadValue, aware, in_range, one_of
from rigging.wind import beaufort

HEIGHT: Final = 310.0
UNITS: Final = ("kn", "m/s", "km/h", "mph", "Bft")
"""Units that the speed axis can print."""

Window = tuple[str, float, float, float]
"""Label, and v_under, v_ideal, v_over in m/s."""

_TOP: Final = 52.0
_FLOOR: Final = 226.0
_ARROWS: Final = 264.0
_ARROW: Final = "M0 -9L0 8M-4.5 2.5L0 8.5L4.5 2.5"
_LEFT: Final = 7.5
_RIGHT_PLAIN: Final = 96.5
_RIGHT_WINDOWS: Final = 84.0
_LABEL_PX: Final = 15.0
_MOST_HOUR_LABELS: Final = 9
_MOST_ARROWS: Final = 13
_NAMED_GAP: Final = 6.0
_STEPS: Final = (2, 5, 10, 20, 50, 100)
_MOST_GRID: Final = 6
_LEAST_TOP_MS: Final = 5.0
_MAX_MS: Final = 80.0


class Hour(Protocol):
    """What the drawing reads from an hour of wind. Speeds in m/s, direction in degrees it blows from."""

    @property
    def start(self) -> datetime: ...
    @property
    def minutes(self) -> float: ...
    @property
    def mean_ms(self) -> float: ...
    @property
    def gust_ms(self) -> float | None: ...
    @property
    def from_deg(self) -> float | None: ...


@dataclass(frozen=True, slots=True)
class _Chart:
    """Places moments and speeds: per cent along, pixels down."""

    start: datetime
    end: datetime
    right: float
    most_ms: float

    def x(self, moment: datetime) -> float:
        return _LEFT + (self.right - _LEFT) * ((moment - self.start) / (self.end - self.start))

    def y(self, speed_ms: float) -> float:
        return _FLOOR - (_FLOOR - _TOP) * min(speed_ms / self.most_ms, 1.0)

    def inside(self, moment: datetime) -> bool:
        return self.start <= moment <= self.end


def wind_day_svg(
    hours: Sequence[Hour],
    now: datetime | None,
    start: datetime,
    end: datetime,
    *,
    zone: tzinfo,
    unit: str = "kn",
    windows: Sequence[Window] = (),
    title: str = "Wind of the day",
    uid: str | None = None,
) -> str:
    """Return a complete SVG of a day's wind.

    Args:
        hours: stretches of wind in any order, at the windows' height (beach wind for sails' windows); what
            they don't cover is drawn as a gap.
        now: the moment of the now line, or None for none.
        start, end: the span drawn, with zone; more than 0 and at most 72 h.
        zone: the station's zone, for the hours along the day.
        unit: printed unit of speed, one of `UNITS`.
        windows: sails' winds to lay over the day.
        title: heading and accessible title.
        uid: prefix of the ids, for pages that hold the same drawing twice.

    Raises:
        BadValue: for an unknown unit, a span that doesn't run forward, datetimes without zone, speeds
            outside 0 to 80 m/s, directions outside 0 to 360, windows out of order.
    """
    one_of("unit", unit, UNITS)
    start, end = aware("start", start), aware("end", end)
    in_range("span", (end - start) / timedelta(hours=1), "h", 1 / 60, 72)
    checked = sorted(map(_checked, hours), key=_start)
    shown = [hour for hour in checked if hour.start < end and _end(hour) > start]
    marks = _marks(shown, [_checked_window(window) for window in windows], unit)
    chart = _Chart(start, end, _RIGHT_WINDOWS if windows else _RIGHT_PLAIN, marks[-1][1])
    parts = [
        svg.tag("rect", width="100%", height=HEIGHT, rx=10, fill=svg.GROUND),
        *_bands(chart, windows),
        *_grid(chart, marks, unit),
        *_hour_marks(chart, zone),
        *_gaps(chart, shown),
        *[svg.stretched(_gust_band(chart, run) + _mean_line(chart, run), HEIGHT) for run in _runs(shown)],
        *_arrows(chart, shown),
        *_window_labels(chart, windows),
        *(_now_line(chart, now, zone) if now is not None and chart.inside(aware("now", now)) else []),
        *_legend(title),
    ]
    return svg.document(
        parts,
        title=title,
        description=_describe(shown, zone, unit, windows),
        css_class="wind-day",
        uid=uid,
        width="100%",
        height=HEIGHT,
    )


def _checked(hour: Hour) -> Hour:
    aware("start", hour.start)
    in_range("minutes", hour.minutes, "min", 1, 24 * 60)
    in_range("mean_ms", hour.mean_ms, "m/s", 0, _MAX_MS)
    if hour.gust_ms is not None:
        in_range("gust_ms", hour.gust_ms, "m/s", 0, _MAX_MS)
    if hour.from_deg is not None:
        in_range("from_deg", hour.from_deg, "deg", 0, 360)
    return hour


def _checked_window(window: Window) -> Window:
    label, under, ideal, over = window
    if not (isfinite(over) and 0 <= under <= ideal <= over <= _MAX_MS):
        raise BadValue(
            f"window {label}", (under, ideal, over), "m/s", f"three winds in order, 0 to {_MAX_MS:g}"
        )
    return window


def _start(hour: Hour) -> datetime:
    return hour.start


def _end(hour: Hour) -> datetime:
    return hour.start + timedelta(minutes=hour.minutes)


def _middle(hour: Hour) -> datetime:
    return hour.start + timedelta(minutes=hour.minutes / 2)


def _marks(hours: Sequence[Hour], windows: Sequence[Window], unit: str) -> list[tuple[int, float]]:
    """Marks of the speed axis, as printed and in m/s: level steps, or where each force begins."""
    gusts = [max(hour.gust_ms or 0.0, hour.mean_ms) for hour in hours]
    fastest_ms = max([*gusts, *(over for *_, over in windows), _LEAST_TOP_MS])
    if unit == "Bft":
        above = next((force for force in BEAUFORT_MS if force >= fastest_ms), fastest_ms)
        begun = [(force, ms) for force, ms in enumerate((0.0, *BEAUFORT_MS)) if ms < above]
        return [*begun, (len(begun), above)]
    fastest = fastest_ms / TO_SI[unit]
    step = next(step for step in _STEPS if fastest / step <= _MOST_GRID)
    return [(step * count, step * count * TO_SI[unit]) for count in range(ceil(fastest / step) + 1)]


def _runs(hours: Sequence[Hour]) -> list[list[Hour]]:
    """Hours without a gap between them, so that no line crosses what nobody forecast or measured."""
    runs: list[list[Hour]] = []
    for hour in hours:
        if runs and hour.start <= _end(runs[-1][-1]) + timedelta(minutes=1):
            runs[-1].append(hour)
        else:
            runs.append([hour])
    return runs


def _steps(chart: _Chart, run: Sequence[Hour], speeds: Sequence[float]) -> list[svg.Point]:
    """Through the middle of each hour, level to the ends of the run."""
    ends = [(max(run[0].start, chart.start), speeds[0]), (min(_end(run[-1]), chart.end), speeds[-1])]
    inner = [
        (_middle(h), v) for h, v in zip(run, speeds, strict=True) if ends[0][0] < _middle(h) < ends[1][0]
    ]
    return [(chart.x(moment), chart.y(speed)) for moment, speed in (ends[0], *inner, ends[1])]


def _mean_line(chart: _Chart, run: Sequence[Hour]) -> str:
    return svg.path(
        svg.fine(_steps(chart, run, [hour.mean_ms for hour in run])),
        stroke=svg.DEEP,
        stroke_width=3,
        stroke_linejoin="round",
        vector_effect="non-scaling-stroke",
        class_="mean",
    )


def _gust_band(chart: _Chart, run: Sequence[Hour]) -> str:
    means = [hour.mean_ms for hour in run]
    gusts = [max(hour.gust_ms or 0.0, hour.mean_ms) for hour in run]
    if all(hour.gust_ms is None for hour in run):
        return ""
    upper = _steps(chart, run, gusts)
    lower = list(reversed(_steps(chart, run, means)))
    return svg.path(
        f"{svg.fine(upper + lower)}Z", fill=svg.SAND, stroke="none", fill_opacity="0.8"
    ) + svg.path(
        svg.fine(upper),
        stroke=svg.RUST,
        stroke_width=2,
        stroke_dasharray="6 4",
        vector_effect="non-scaling-stroke",
        class_="gust",
    )


def _grid(chart: _Chart, marks: Sequence[tuple[int, float]], unit: str) -> list[str]:
    drawn, named_y = [], float("inf")
    for mark, speed_ms in marks:
        y = chart.y(speed_ms)
        left, right = svg.percent(_LEFT), svg.percent(chart.right)
        drawn.append(svg.tag("line", x1=left, x2=right, y1=y, y2=y, stroke=svg.HAIR if mark else svg.SOFT))
        if named_y - y < _LABEL_PX:
            continue  # the least forces lie closer together than their numbers are high
        named_y = y
        drawn.append(svg.text(str(mark), svg.percent(_LEFT - 1), y + 4, 12, fill=svg.SOFT, text_anchor="end"))
    drawn.append(svg.text(unit, 12, _TOP - 10, 12, fill=svg.SOFT))
    return drawn


def _hour_marks(chart: _Chart, zone: tzinfo) -> list[str]:
    span_h = (chart.end - chart.start) / timedelta(hours=1)
    every = next(each for each in (1, 2, 3, 4, 6, 12) if span_h / each <= _MOST_HOUR_LABELS or each == 12)
    local = chart.start.astimezone(zone)
    first = local.replace(minute=0, second=0, microsecond=0)
    marks = (first + timedelta(hours=hour) for hour in range(ceil(span_h) + 2))
    drawn = []
    for mark in marks:
        if not chart.inside(mark) or mark.hour % every:
            continue
        x = svg.percent(chart.x(mark))
        drawn.append(svg.tag("line", x1=x, x2=x, y1=_FLOOR, y2=_FLOOR + 5, stroke=svg.SOFT))
        drawn.append(svg.text(f"{mark:%H}", x, _FLOOR + 18, 12, text_anchor="middle"))
    return drawn


def _gaps(chart: _Chart, hours: Sequence[Hour]) -> list[str]:
    """What no hour covers, hatched and named."""
    edges = [(hour.start, _end(hour)) for hour in hours]
    drawn = []
    at = chart.start
    for start, end in [*edges, (chart.end, chart.end)]:
        if start > at:
            left, right = chart.x(at), chart.x(min(start, chart.end))
            drawn += _gap(left, right)
        at = max(at, end)
    return drawn


def _gap(left: float, right: float) -> list[str]:
    box = svg.tag(
        "rect",
        x=svg.percent(left),
        y=_TOP,
        width=svg.percent(right - left),
        height=_FLOOR - _TOP,
        fill="none",
        stroke=svg.SOFT,
        stroke_opacity="0.6",
        stroke_dasharray="2 4",
        class_="gap",
    )
    words = svg.text(
        "no data", svg.percent((left + right) / 2), _FLOOR - 8, 11, fill=svg.SOFT, text_anchor="middle"
    )
    return [box, words] if right - left > _NAMED_GAP else [box]


def _arrows(chart: _Chart, hours: Sequence[Hour]) -> list[str]:
    """Where the wind blows to, north up, so that an arrow down is a wind from the north."""
    inside = [hour for hour in hours if hour.from_deg is not None and chart.inside(_middle(hour))]
    every = ceil(len(inside) / _MOST_ARROWS) or 1
    return [
        svg.tag(
            "svg",
            svg.path(
                _ARROW,
                stroke=svg.INK,
                stroke_width=1.8,
                stroke_linecap="round",
                transform=f"rotate({svg.number(hour.from_deg)})",
            ),
            x=svg.percent(chart.x(_middle(hour))),
            y=_ARROWS,
            overflow="visible",
            class_="direction",
        )
        for hour in inside[::every]
        if hour.from_deg is not None
    ]


def _bands(chart: _Chart, windows: Sequence[Window]) -> list[str]:
    drawn = []
    for _, under, ideal, over in windows:
        low, high, best = chart.y(under), chart.y(over), chart.y(ideal)
        x, width = svg.percent(_LEFT), svg.percent(chart.right - _LEFT)
        right = svg.percent(chart.right)
        drawn += [
            svg.tag("rect", x=x, y=high, width=width, height=low - high, fill=svg.FOAM, fill_opacity="0.45"),
            svg.tag("line", x1=x, x2=right, y1=high, y2=high, stroke=svg.DEEP, stroke_opacity="0.5"),
            svg.tag("line", x1=x, x2=right, y1=low, y2=low, stroke=svg.DEEP, stroke_opacity="0.5"),
            svg.tag("line", x1=x, x2=right, y1=best, y2=best, stroke=svg.DEEP, stroke_dasharray="1 5"),
        ]
    return drawn


def _window_labels(chart: _Chart, windows: Sequence[Window]) -> list[str]:
    """A bar from under to over for each sail at the right edge, its label level with its ideal wind."""
    drawn = [svg.text("sails", svg.percent(chart.right + 1), _TOP - 10, 12, fill=svg.SOFT)] if windows else []
    lowest_free = _FLOOR + _LABEL_PX
    for column, (label, under, ideal, over) in enumerate(sorted(windows, key=lambda window: window[2])):
        x = svg.percent(chart.right + 1.0 + 1.4 * column)
        y = min(chart.y(ideal), lowest_free - _LABEL_PX)
        lowest_free = y
        drawn += [
            svg.tag(
                "line", x1=x, x2=x, y1=chart.y(over), y2=chart.y(under), stroke=svg.DEEP, stroke_width=2.5
            ),
            svg.tag("circle", cx=x, cy=chart.y(ideal), r=4, fill=svg.GROUND, stroke=svg.DEEP, stroke_width=2),
            svg.text(
                label, svg.percent(chart.right + 2.0 + 1.4 * len(windows)), y + 4, 12, font_weight="600"
            ),
        ]
    return drawn


def _now_line(chart: _Chart, now: datetime, zone: tzinfo) -> list[str]:
    x = svg.percent(chart.x(now))
    return [
        svg.tag("line", x1=x, x2=x, y1=_TOP - 4, y2=_FLOOR, stroke=svg.INK, stroke_width=1.5, class_="now"),
        svg.text(
            f"now {now.astimezone(zone):%H:%M}",
            x,
            _TOP - 8,
            12,
            text_anchor="start" if chart.x(now) < 50 else "end",
            font_weight="600",
        ),
    ]


def _legend(title: str) -> list[str]:
    y = HEIGHT - 14
    return [
        svg.text(title, 12, 21, 15, font_weight="600"),
        svg.line((14, y - 4), (38, y - 4), stroke=svg.DEEP, stroke_width=3),
        svg.text("mean", 44, y, 12),
        svg.line((92, y - 4), (118, y - 4), stroke=svg.RUST, stroke_width=2, stroke_dasharray="6 4"),
        svg.text("gusts", 124, y, 12),
        svg.path(_ARROW, stroke=svg.INK, stroke_width=1.8, transform=f"translate(180 {svg.number(y - 4)})"),
        svg.text("blows to (north is up)", 190, y, 12),
    ]


def _describe(hours: Sequence[Hour], zone: tzinfo, unit: str, windows: Sequence[Window]) -> str:
    if not hours:
        said = "No wind is known for this span."
    else:
        parts = [_said(hour, zone, unit) for hour in hours]
        said = f"Mean and gusts in {unit}, direction the wind comes from: {'; '.join(parts)}."
    sails = "; ".join(
        f"{label} from {_in(under, unit)} to {_in(over, unit)} {unit}, ideal {_in(ideal, unit)}"
        for label, under, ideal, over in windows
    )
    return f"{said} Windows: {sails}." if sails else said


def _in(speed_ms: float, unit: str) -> str:
    """Return a speed as a whole number of its unit."""
    return str(beaufort(speed_ms)) if unit == "Bft" else f"{speed_ms / TO_SI[unit]:.0f}"


def _said(hour: Hour, zone: tzinfo, unit: str) -> str:
    gust = "" if hour.gust_ms is None else f" gusting {_in(hour.gust_ms, unit)}"
    direction = "" if hour.from_deg is None else f" from {hour.from_deg:.0f}°"
    return f"{hour.start.astimezone(zone):%H:%M} {_in(hour.mean_ms, unit)}{gust}{direction}"
