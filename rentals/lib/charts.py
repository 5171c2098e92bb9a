"""Charts of statistics: plain Vega-Lite dictionaries drawn to SVG on the server, fit for a strict policy.

A drawing has presentation attributes only, its title and its words; the table beside it says the same.
"""

import json
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any, Final

from rigging.drawing import svg

WIDTH, BAR, HEIGHT = 440, 26, 220
"""Drawn narrow, so that words stay readable on a phone."""

KEPT: Final = 128
"""Drawings kept, as pages are looked at again and again; one is a few kilobytes. Status: policy."""

_AXIS: Final = {
    "labelFontSize": 13,
    "titleFontSize": 13,
    "titleFontWeight": "normal",
    "labelColor": svg.INK,
    "titleColor": svg.INK,
    "gridColor": svg.HAIR,
    "labelLimit": 200,
}
_CONFIG: Final = {
    "font": svg.FONT,
    "background": svg.GROUND,
    "axis": _AXIS,
    "view": {"stroke": None},
    "padding": {"left": 24, "right": 16, "top": 8, "bottom": 8},
    "legend": {"labelFontSize": 13, "titleFontSize": 13, "orient": "bottom", "labelLimit": 260},
    "range": {"category": [svg.DEEP, svg.SAND, svg.RUST, svg.SOFT, svg.FOAM, svg.HAIR]},
    "bar": {"stroke": svg.INK, "strokeWidth": 0.5},
}

Spec = Mapping[str, Any]


def bars(labels: Sequence[str], values: Sequence[float], *, unit: str) -> Spec:
    """Level bars, in the order given: one for each label."""
    return {
        "data": {"values": [{"of": of, "value": value} for of, value in zip(labels, values, strict=True)]},
        "width": WIDTH - 160,
        "height": {"step": BAR},
        "mark": {"type": "bar", "color": svg.DEEP},
        "encoding": {"y": _names("of"), "x": {"field": "value", "type": "quantitative", "title": unit}},
    }


def stacks(labels: Sequence[str], series: Mapping[str, Sequence[float]], *, unit: str) -> Spec:
    """Upright bars by label, each stacked of the series."""
    return {
        "data": {
            "values": [
                {"of": of, "value": value, "series": name, "place": place}
                for place, (name, values) in enumerate(series.items())
                for of, value in zip(labels, values, strict=True)
            ]
        },
        "width": WIDTH,
        "height": HEIGHT,
        "mark": {"type": "bar"},
        "encoding": {
            "x": {**_names("of"), "axis": {"labelAngle": -40}},
            "y": {"field": "value", "type": "quantitative", "title": unit},
            "color": {
                "field": "series",
                "type": "nominal",
                "title": None,
                "sort": list(series),
                **({} if len(series) > 1 else {"legend": None}),
            },
            "order": {"field": "place"},
        },
    }


def whiskers(
    labels: Sequence[str],
    values: Sequence[float],
    lows: Sequence[float],
    highs: Sequence[float],
    *,
    unit: str,
) -> Spec:
    """A point with its limits for each label."""
    rows = [
        {"of": of, "value": value, "low": low, "high": high}
        for of, value, low, high in zip(labels, values, lows, highs, strict=True)
    ]
    along = {"type": "quantitative", "title": unit}
    return {
        "data": {"values": rows},
        "width": WIDTH - 160,
        "height": {"step": BAR},
        "encoding": {"y": _names("of")},
        "layer": [
            {
                "mark": {"type": "rule", "color": svg.DEEP, "strokeWidth": 2},
                "encoding": {"x": {"field": "low", **along}, "x2": {"field": "high"}},
            },
            {
                "mark": {"type": "point", "filled": True, "size": 70, "color": svg.RUST},
                "encoding": {"x": {"field": "value", **along}},
            },
        ],
    }


def band(
    along: Sequence[float],
    middle: Sequence[float],
    low: Sequence[float],
    high: Sequence[float],
    *,
    along_unit: str,
    unit: str,
) -> Spec:
    """A curve within its limits."""
    rows = [
        {"x": x, "middle": m, "low": lo, "high": hi}
        for x, m, lo, hi in zip(along, middle, low, high, strict=True)
    ]
    upright = {"type": "quantitative", "title": unit}
    return {
        "data": {"values": rows},
        "width": WIDTH,
        "height": HEIGHT,
        "encoding": {"x": {"field": "x", "type": "quantitative", "title": along_unit}},
        "layer": [
            {
                "mark": {"type": "area", "color": svg.FOAM},
                "encoding": {"y": {"field": "low", **upright}, "y2": {"field": "high"}},
            },
            {
                "mark": {"type": "line", "color": svg.DEEP, "strokeWidth": 3},
                "encoding": {"y": {"field": "middle", **upright}},
            },
        ],
    }


def drawn(spec: Spec, *, title: str, says: str) -> str:
    """Return a chart as an SVG with its title and its words."""
    return _drawn(json.dumps(spec, sort_keys=True), title, says)


@lru_cache(maxsize=KEPT)
def _drawn(spec: str, title: str, says: str) -> str:
    # Starting the drawing engine takes half a second: only who asks for a chart waits for it.
    import vl_convert

    written: str = vl_convert.vegalite_to_svg({**json.loads(spec), "config": _CONFIG})
    uid = svg.name_of(spec, title)
    head, body = written.split(">", 1)
    words = svg.tag("title", svg.escape(title), id=f"{uid}-t") + svg.tag(
        "desc", svg.escape(says), id=f"{uid}-d"
    )
    return f'{head} role="img" aria-labelledby="{uid}-t" aria-describedby="{uid}-d">{words}{body}'


def _names(field: str) -> dict[str, Any]:
    return {"field": field, "type": "nominal", "sort": None, "title": None}
