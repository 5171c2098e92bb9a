"""The outline of a sail from its spec: luff curve, leech with roach, foot, battens; in cm from the tack.

The y axis runs up the straight line from tack to head; x is positive toward the clew. The luff's arc is the
printed luff length, the clew lies at the boom's length from the clamp, and the roach is chosen so that the
outline encloses the printed area.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rigging.units import BadValue, in_range

Floats = NDArray[np.float64]

LUFF_BOW: Final = 0.052
"""Bow of a downhauled luff over its chord. Common practice, no source."""

CLEW_HEIGHT: Final = (0.26, 0.36)
"""Where the sail doesn't say, the clew lies level with the boom, within these shares of the luff.
Common practice, no source."""

HEAD_WIDTH: Final = 0.022
"""Width of the head as a share of the luff. Common practice, no source."""

FOOT_SHAPE: Final = ((0.42, 0.0), (0.80, 0.20))
"""Control points of the foot: shares of the clew's distance and of its height. Common practice, no source."""

ROACH_SHAPE: Final = (1.35, 0.62)
"""Exponents of the roach along the leech from clew to head: hollow near the clew, full above."""

LOWEST_BATTEN: Final = (0.50, 0.90)
"""Lowest batten: from this share of the clew's height on the luff to this share of the foot."""

BATTENS_FROM: Final = (0.40, 0.90)
"""Luff shares where the second and the last batten begin."""

BATTEN_ENDS: Final = (0.10, 0.85)
"""Leech shares (clew 0, head 1) where the second and the last batten end."""

STEPS: Final = 61
"""Points on each edge."""


@dataclass(frozen=True, slots=True)
class Outline:
    """Edges of a sail as (n, 2) arrays in cm: luff tack to head, leech head to clew, foot clew to tack."""

    luff: Floats
    leech: Floats
    foot: Floats
    battens: tuple[tuple[tuple[float, float], tuple[float, float]], ...]
    clamp: tuple[float, float]
    clew: tuple[float, float]

    @property
    def edge(self) -> Floats:
        """The closed outline, (n, 2)."""
        return np.vstack([self.luff, self.leech[1:], self.foot[1:-1]])

    @property
    def area_m2(self) -> float:
        """Area enclosed by the outline [m2]."""
        return polygon_area(self.edge) / 1e4

    def on_luff(self, along_cm: float) -> tuple[float, float]:
        """The point at a length along the luff from the tack [cm]; straight on beyond its ends."""
        arc = _arc(self.luff)
        if along_cm > arc[-1]:
            return _beyond(self.luff[-2], self.luff[-1], along_cm - arc[-1])
        return (
            float(np.interp(along_cm, arc, self.luff[:, 0])),
            float(np.interp(along_cm, arc, self.luff[:, 1])),
        )


def sail_outline(
    *,
    area_m2: float,
    luff_cm: float,
    boom_cm: float,
    boom_height_cm: float,
    clew_height_cm: float | None,
    battens: int,
) -> Outline:
    """Return the outline of a sail with the clew held at `boom_cm` from a clamp at `boom_height_cm`.

    Args:
        area_m2: printed area [m2], 0.5 to 15.
        luff_cm: printed luff [cm], 100 to 700.
        boom_cm: length of the boom as set [cm].
        boom_height_cm: clamp over the tack along the luff [cm].
        clew_height_cm: clew over the tack [cm], or None for level with the boom where the luff allows.
        battens: number of battens, 0 to 12.

    Raises:
        BadValue: for numbers out of range, and for a boom too short to reach the clew.
    """
    in_range("area_m2", area_m2, "m2", 0.5, 15)
    in_range("luff_cm", luff_cm, "cm", 100, 700)
    in_range("boom_cm", boom_cm, "cm", 60, 350)
    in_range("boom_height_cm", boom_height_cm, "cm", 20, 0.8 * luff_cm)
    in_range("battens", battens, "", 0, 12)
    luff = _luff(luff_cm)
    clamp = _at(luff, boom_height_cm / luff_cm)
    low, high = (share * luff_cm for share in CLEW_HEIGHT)
    clew_y = min(max(clamp[1], low), high) if clew_height_cm is None else clew_height_cm
    in_range("clew_height_cm", clew_y, "cm", 5, 0.8 * luff_cm)
    rise = clew_y - clamp[1]
    if abs(rise) >= boom_cm:
        raise BadValue("boom_cm", boom_cm, "cm", f"more than {abs(rise):.0f}")
    clew = (clamp[0] + sqrt(boom_cm**2 - rise**2), clew_y)
    foot = _foot(clew)
    leech = _leech_for_area(luff, foot, clew, area_m2 * 1e4)
    return Outline(luff, leech, foot, _battens(luff, leech, foot, clew, int(battens)), clamp, clew)


def polygon_area(points: Floats) -> float:
    """Area of a simple polygon of (n, 2) points (the shoelace formula), in the square of their unit."""
    x, y = points[:, 0], points[:, 1]
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def _arc(points: Floats) -> Floats:
    steps = np.hypot(*np.diff(points, axis=0).T)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _luff(luff_cm: float) -> Floats:
    """A bow with its deepest point above the middle, as long along its arc as the sail says."""
    share = np.linspace(0, 1, STEPS)
    lean = share**1.25
    shape = np.column_stack([-LUFF_BOW * 4 * lean * (1 - lean), share])
    scaled: Floats = shape * (luff_cm / _arc(shape)[-1])
    return scaled


def _foot(clew: tuple[float, float]) -> Floats:
    (first_x, first_y), (second_x, second_y) = FOOT_SHAPE
    controls = np.array(
        [clew, (clew[0] * second_x, clew[1] * second_y), (clew[0] * first_x, clew[1] * first_y), (0, 0)]
    )
    return _bezier(controls)


def _bezier(controls: Floats) -> Floats:
    t = np.linspace(0, 1, STEPS)[:, None]
    a, b, c, d = controls
    curve: Floats = (1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * b + 3 * (1 - t) * t**2 * c + t**3 * d
    return curve


def _leech_for_area(luff: Floats, foot: Floats, clew: tuple[float, float], area_cm2: float) -> Floats:
    """The leech whose roach makes up the area; area grows linearly with roach, so two tries give the rest."""

    def area(roach: float) -> float:
        return polygon_area(np.vstack([luff, _leech(luff[-1], clew, roach)[1:], foot[1:-1]]))

    flat, full = area(0.0), area(1.0)
    return _leech(luff[-1], clew, (area_cm2 - flat) / (full - flat))


def _leech(head: Floats, clew: tuple[float, float], roach_cm: float) -> Floats:
    aft = np.array([head[0] + HEAD_WIDTH * head[1], head[1]])
    chord = aft - np.array(clew)
    normal = np.array([chord[1], -chord[0]]) / hypot(*chord)
    t = np.linspace(1, 0, STEPS)[:, None]
    rise, fall = ROACH_SHAPE
    peak = (rise / (rise + fall)) ** rise * (fall / (rise + fall)) ** fall
    bulge = t**rise * (1 - t) ** fall / peak
    return np.vstack([head, np.array(clew) + t * chord + roach_cm * bulge * normal])


def _battens(
    luff: Floats, leech: Floats, foot: Floats, clew: tuple[float, float], count: int
) -> tuple[tuple[tuple[float, float], tuple[float, float]], ...]:
    if count == 0:
        return ()
    low_luff, low_foot = LOWEST_BATTEN
    pairs = [(_at(luff, low_luff * clew[1] / luff[-1, 1]), _at(foot, 1 - low_foot))]
    upper = np.linspace(0, 1, count - 1) if count > 2 else np.full(count - 1, 0.5)
    starts, ends = (low + (high - low) * upper for low, high in (BATTENS_FROM, BATTEN_ENDS))
    pairs += [(_at(luff, s), _at(leech, 1 - e)) for s, e in zip(starts, ends, strict=True)]
    return tuple(pairs)


def _at(points: Floats, share: float) -> tuple[float, float]:
    arc = _arc(points)
    along = share * arc[-1]
    return float(np.interp(along, arc, points[:, 0])), float(np.interp(along, arc, points[:, 1]))


def _beyond(
    before: Sequence[float] | Floats, last: Sequence[float] | Floats, by: float
) -> tuple[float, float]:
    step = hypot(last[0] - before[0], last[1] - before[1])
    return (
        float(last[0] + (last[0] - before[0]) / step * by),
        float(last[1] + (last[1] - before[1]) / step * by),
    )
