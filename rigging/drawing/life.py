"""A life drawn: the share of items that reach each age, its limits, the records, the shed's own ages."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from rigging.drawing import svg
from rigging.units import FloatArray, array_in_range
from rigging.wear import GroupLife, KaplanMeier, Replacement

HEIGHT: Final = 270.0
_TOP: Final = 44.0
_FLOOR: Final = 202.0
_LEFT: Final = 11.0
_RIGHT: Final = 96.5
_POINTS: Final = 81
_STEPS: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000)
_MOST_MARKS: Final = 6
_LAST_MARK: Final = 0.97
_BEYOND: Final = 1.25
"""How far past the longest record the curve is drawn: beyond, it would be the model alone that speaks."""


@dataclass(frozen=True, slots=True)
class _Chart:
    """Places hours along and shares down."""

    most_h: float

    def x(self, hours: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * hours / self.most_h

    def y(self, share: float) -> float:
        return _FLOOR - (_FLOOR - _TOP) * share

    def line(self, ages: FloatArray, shares: FloatArray) -> list[svg.Point]:
        return [(self.x(float(age)), self.y(float(share))) for age, share in zip(ages, shares, strict=True)]


def life_svg(
    life: GroupLife,
    observed: KaplanMeier | None = None,
    *,
    ages_h: Sequence[float] = (),
    replacement: Replacement | None = None,
    title: str = "",
    uid: str | None = None,
) -> str:
    """Return a complete SVG of a life and its limits.

    Args:
        life: of one group, by `wear.life_of_groups`.
        observed: the same records without a model, drawn as steps.
        ages_h: ages of the items in service [h], drawn as ticks on the axis.
        replacement: its age is drawn as a line, where there is one.
        title: heading and accessible title; by default the group's name.
        uid: prefix of the ids, for pages that hold the same drawing twice.

    Raises:
        BadValue: for ages that are negative or no numbers.
    """
    in_service = array_in_range("ages_h", ages_h, "h", 0, 1e9) if len(ages_h) else np.array([])
    span = max([life.longest_h, *in_service.tolist()]) * _BEYOND
    chart = _Chart(span)
    ages = np.linspace(0, span, _POINTS)
    middle, low, high = life.survival(ages)
    heading = title or life.name
    parts = [
        svg.tag("rect", width="100%", height=HEIGHT, rx=10, fill=svg.GROUND),
        svg.text(heading, 12, 24, 15, font_weight="600"),
        *_grid(chart),
        svg.stretched(_band(chart, ages, low, high) + _curve(chart, ages, middle), HEIGHT),
        *([svg.stretched(_observed(chart, observed), HEIGHT)] if observed is not None else []),
        *_ticks(chart, in_service),
        *_replacement(chart, replacement),
        *_legend(observed is not None, len(in_service) > 0),
    ]
    return svg.document(
        parts,
        title=heading,
        description=_describe(life, replacement),
        css_class="life",
        uid=uid,
        width="100%",
        height=HEIGHT,
    )


def _band(chart: _Chart, ages: FloatArray, low: FloatArray, high: FloatArray) -> str:
    edge = chart.line(ages, high) + list(reversed(chart.line(ages, low)))
    return svg.path(f"{svg.fine(edge)}Z", fill=svg.FOAM, stroke="none", class_="limits")


def _curve(chart: _Chart, ages: FloatArray, middle: FloatArray) -> str:
    return svg.path(
        svg.fine(chart.line(ages, middle)),
        stroke=svg.DEEP,
        stroke_width=3,
        vector_effect="non-scaling-stroke",
        class_="survival",
    )


def _observed(chart: _Chart, observed: KaplanMeier) -> str:
    """Steps of the records alone, level up to the last failure."""
    hours, shares = [0.0, *observed.hours.tolist()], [1.0, *observed.survival.tolist()]
    steps = [(chart.x(0.0), chart.y(1.0))]
    for (_, share), (age, next_share) in pairwise(zip(hours, shares, strict=True)):
        steps += [(chart.x(age), chart.y(share)), (chart.x(age), chart.y(next_share))]
    return svg.path(
        svg.fine(steps),
        stroke=svg.RUST,
        stroke_width=2,
        stroke_dasharray="6 4",
        vector_effect="non-scaling-stroke",
        class_="observed",
    )


def _ticks(chart: _Chart, ages: FloatArray) -> list[str]:
    return [
        svg.tag(
            "line",
            x1=svg.percent(chart.x(age)),
            x2=svg.percent(chart.x(age)),
            y1=_FLOOR - 9,
            y2=_FLOOR,
            stroke=svg.INK,
            stroke_width=1.5,
            class_="in-service",
        )
        for age in ages.tolist()
    ]


def _replacement(chart: _Chart, replacement: Replacement | None) -> list[str]:
    if replacement is None or replacement.age_h is None or replacement.age_h > chart.most_h:
        return []
    at = chart.x(replacement.age_h)
    x = svg.percent(at)
    anchor = "start" if at < (_LEFT + _RIGHT) / 2 else "end"
    words = f" replace at {replacement.age_h:,.0f} h "
    return [
        svg.tag(
            "line", x1=x, x2=x, y1=_TOP, y2=_FLOOR, stroke=svg.INK, stroke_width=1.5, stroke_dasharray="2 3"
        ),
        svg.text(words, x, _TOP - 4, 12, text_anchor=anchor, font_weight="600"),
    ]


def _grid(chart: _Chart) -> list[str]:
    drawn = []
    left, right = svg.percent(_LEFT), svg.percent(_RIGHT)
    for share in (0.0, 0.5, 1.0):
        y = chart.y(share)
        stroke = svg.HAIR if share else svg.SOFT
        drawn.append(svg.tag("line", x1=left, x2=right, y1=y, y2=y, stroke=stroke))
        drawn.append(
            svg.text(f"{share:.0%}", svg.percent(_LEFT - 1), y + 4, 12, fill=svg.SOFT, text_anchor="end")
        )
    step = next((step for step in _STEPS if chart.most_h / step <= _MOST_MARKS), chart.most_h / _MOST_MARKS)
    for mark in np.arange(0, _LAST_MARK * chart.most_h, step).tolist():
        x = svg.percent(chart.x(mark))
        drawn.append(svg.tag("line", x1=x, x2=x, y1=_FLOOR, y2=_FLOOR + 5, stroke=svg.SOFT))
        drawn.append(svg.text(f"{mark:,.0f} h", x, _FLOOR + 18, 12, text_anchor="middle"))
    return drawn


def _legend(observed: bool, in_service: bool) -> list[str]:
    y = HEIGHT - 30
    drawn = [
        svg.tag("rect", x=14, y=y - 10, width=24, height=12, fill=svg.FOAM),
        svg.line((14, y - 4), (38, y - 4), stroke=svg.DEEP, stroke_width=3),
        svg.text("still in service, with limits", 44, y, 12),
    ]
    if observed:
        drawn.append(
            svg.line((14, y + 14), (38, y + 14), stroke=svg.RUST, stroke_width=2, stroke_dasharray="6 4")
        )
        drawn.append(svg.text("records alone", 44, y + 18, 12))
    if in_service:
        drawn.append(svg.line((158, y + 8), (158, y + 18), stroke=svg.INK, stroke_width=1.5))
        drawn.append(svg.text("the shed's items today", 168, y + 18, 12))
    return drawn


def _describe(life: GroupLife, replacement: Replacement | None) -> str:
    said = life.life_h(0.5).reason.text
    return f"{said} {replacement.reason.text}" if replacement is not None else said
