"""A search sketch: last sighting, drift paths, clouds, datums and search areas on one scale, north up."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC
from math import ceil
from typing import Final

import numpy as np

from rigging.drawing import svg
from rigging.drift import LEEWAY, Drift, position_words
from rigging.units import BadValue

WIDTH: Final = 420.0
_SIDE: Final = 388.0
_LEFT: Final = 16.0
_TOP: Final = 44.0
_MOST_DRIFTS: Final = 3
_DOTS: Final = 220
_MARGIN: Final = 1.06
_RING_STEPS_M: Final = (100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000, 100_000, 200_000)
_MOST_RINGS: Final = 4
_ROW: Final = 34.0
_LOOKS: Final = (
    ("A", svg.DEEP, None),
    ("B", svg.RUST, "8 4"),
    ("C", svg.INK, "2 4"),
)
"""Letter, colour and dash of each drifter: letters and dashes tell them apart without colour."""


@dataclass(frozen=True, slots=True)
class _Chart:
    """Places metres east and north of the last sighting."""

    east: float
    north: float
    scale: float

    def place(self, east_m: float, north_m: float) -> svg.Point:
        return (
            _LEFT + _SIDE / 2 + (east_m - self.east) * self.scale,
            _TOP + _SIDE / 2 - (north_m - self.north) * self.scale,
        )


def search_svg(drifts: Sequence[Drift], *, title: str = "Search sketch", uid: str | None = None) -> str:
    """Return a complete SVG of where to look.

    Args:
        drifts: one to three drifts of the same rider from the same last sighting.
        title: heading and accessible title.
        uid: prefix of the ids, for pages that hold the same drawing twice.

    Raises:
        BadValue: for no drift or more than three, or drifts from different sightings.
    """
    if not 1 <= len(drifts) <= _MOST_DRIFTS:
        raise BadValue("drifts", len(drifts), "", f"1 to {_MOST_DRIFTS}")
    if any(drift.last_known != drifts[0].last_known for drift in drifts):
        raise BadValue("drifts", "mixed", "", "drifts from one last sighting")
    chart = _chart(drifts)
    height = _TOP + _SIDE + 22 + _ROW * (len(drifts) + 1)
    looks = list(zip(drifts, _LOOKS, strict=False))
    plot = [
        svg.tag("rect", x=_LEFT, y=_TOP, width=_SIDE, height=_SIDE, fill="#f4f8f8", stroke=svg.HAIR),
        *_rings(chart),
        *[_cloud(chart, drift, colour) for drift, (_, colour, _) in looks],
        *[part for drift, (_, colour, dash) in looks for part in _area(chart, drift, colour, dash)],
        *_sighting(chart),
        *[part for drift, (letter, colour, _) in looks for part in _datum(chart, drift, letter, colour)],
    ]
    said = " ".join(drift.reason.text for drift in drifts)
    name = uid or svg.name_of("search-sketch", title, said)
    parts = [
        svg.tag("rect", width=WIDTH, height=height, rx=10, fill=svg.GROUND),
        svg.text(title, _LEFT, 28, 18, font_weight="600"),
        svg.tag(
            "clipPath",
            svg.tag("rect", x=_LEFT, y=_TOP, width=_SIDE, height=_SIDE),
            id=f"{name}-plot",
        ),
        svg.tag("g", "".join(plot), clip_path=f"url(#{name}-plot)"),
        *_north(),
        *_legend(drifts),
    ]
    return svg.document(
        parts,
        title=title,
        description=said,
        css_class="search-sketch",
        uid=name,
        viewBox=f"0 0 {WIDTH:g} {height:g}",
    )


def _chart(drifts: Sequence[Drift]) -> _Chart:
    """The smallest square that holds the sighting and every search circle."""
    boxes = [(0.0, 0.0, drifts[0].last_known.radius_m)] + [(*d.datum_m, d.radius_m) for d in drifts]
    east = [(e - r, e + r) for e, _, r in boxes]
    north = [(n - r, n + r) for _, n, r in boxes]
    (west, east_most), (south, north_most) = (
        (min(low for low, _ in spans), max(high for _, high in spans)) for spans in (east, north)
    )
    side = max(east_most - west, north_most - south, 1.0) * _MARGIN
    return _Chart((west + east_most) / 2, (south + north_most) / 2, _SIDE / side)


def _rings(chart: _Chart) -> list[str]:
    """Rings of distance about the last sighting, each with its distance."""
    x, y = chart.place(0, 0)
    corners = [(_LEFT + dx * _SIDE, _TOP + dy * _SIDE) for dx in (0, 1) for dy in (0, 1)]
    farthest = max(np.hypot(x - cx, y - cy) for cx, cy in corners) / chart.scale
    step = next(step for step in _RING_STEPS_M if farthest / step <= _MOST_RINGS + 1)
    drawn = []
    for distance in range(step, ceil(farthest), step):
        reach = distance * chart.scale
        words = f"{distance / 1000:g} km" if distance >= 1000 else f"{distance} m"
        drawn.append(svg.tag("circle", cx=x, cy=y, r=reach, fill="none", stroke=svg.HAIR))
        drawn += [
            svg.text(words, x + 3, label_y - 3, 11, fill=svg.SOFT)
            for label_y in (y - reach, y + reach)
            if _TOP + 12 < label_y < _TOP + _SIDE - 6
        ]
    return drawn


def _cloud(chart: _Chart, drift: Drift, colour: str) -> str:
    """Some of the cloud's particles, evenly picked, as dots of one path."""
    every = max(1, len(drift.cloud_m) // _DOTS)
    places = (chart.place(float(east), float(north)) for east, north in drift.cloud_m[::every])
    dots = "".join(f"M{svg.number(x)} {svg.number(y)}h0" for x, y in places)
    return svg.path(dots, stroke=colour, stroke_width=2.4, stroke_linecap="round", stroke_opacity="0.45")


def _area(chart: _Chart, drift: Drift, colour: str, dash: str | None) -> list[str]:
    """Mean path, search circle and ellipse."""
    x, y = chart.place(*drift.datum_m)
    track = svg.through([chart.place(float(east), float(north)) for east, north in drift.track_m])
    ellipse = drift.ellipse
    turn = f"rotate({svg.number(ellipse.bearing_deg - 90)} {svg.number(x)} {svg.number(y)})"
    return [
        svg.path(track, stroke=colour, stroke_width=1.6, stroke_dasharray=dash),
        svg.tag(
            "circle",
            cx=x,
            cy=y,
            r=drift.radius_m * chart.scale,
            fill="none",
            stroke=colour,
            stroke_width=2.4,
            stroke_dasharray=dash,
            class_="search-circle",
        ),
        svg.tag(
            "ellipse",
            cx=x,
            cy=y,
            rx=ellipse.major_m * chart.scale,
            ry=ellipse.minor_m * chart.scale,
            fill="none",
            stroke=colour,
            stroke_width=1,
            stroke_dasharray=dash,
            transform=turn,
            class_="search-ellipse",
        ),
    ]


def _sighting(chart: _Chart) -> list[str]:
    x, y = chart.place(0, 0)
    cross = f"M{x - 7:.1f} {y - 7:.1f}l14 14m0 -14l-14 14"
    return [
        svg.path(cross, stroke=svg.GROUND, stroke_width=6),
        svg.path(cross, stroke=svg.INK, stroke_width=2.6),
    ]


def _datum(chart: _Chart, drift: Drift, letter: str, colour: str) -> list[str]:
    x, y = chart.place(*drift.datum_m)
    return [
        svg.tag("circle", cx=x, cy=y, r=10, fill=svg.GROUND, stroke=colour, stroke_width=2.4),
        svg.text(letter, x, y + 4.5, 13, text_anchor="middle", font_weight="600"),
    ]


def _north() -> list[str]:
    x, y = _LEFT + _SIDE - 20, _TOP + 36
    return [
        svg.path(f"M{x:g} {y:g}v-26m-5 7l5 -8l5 8", stroke=svg.INK, stroke_width=1.8),
        svg.text("N", x - 14, y - 8, 13, font_weight="600"),
    ]


def _legend(drifts: Sequence[Drift]) -> list[str]:
    seen = drifts[0].last_known
    rows = [
        (
            "✕",
            f"Last seen {seen.at:%H:%M} ({seen.at.astimezone(UTC):%H:%M} UTC)",
            position_words(seen.latitude_deg, seen.longitude_deg),
        )
    ]
    for drift, (letter, _, _) in zip(drifts, _LOOKS, strict=False):
        what = f"{LEEWAY[drift.drifter].words.capitalize()}, {drift.until:%H:%M}"
        place = position_words(drift.latitude_deg, drift.longitude_deg)
        rows.append((letter, what, f"{place} · {drift.confidence:.0%} within {drift.radius_m / 1000:.1f} km"))
    drawn = []
    for row, (mark, what, where) in enumerate(rows):
        y = _TOP + _SIDE + 20 + _ROW * row
        drawn.append(svg.text(mark, _LEFT + 8, y + 7, 14, font_weight="600", text_anchor="middle"))
        drawn.append(svg.text(what, _LEFT + 24, y, 12.5))
        drawn.append(svg.text(where, _LEFT + 24, y + 15, 12.5, font_weight="600"))
    return drawn
