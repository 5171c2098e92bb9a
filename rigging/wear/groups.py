"""Lives of groups of like items, sharing what they have in common; limits that are honest on few failures.

All groups share a Weibull shape; each has a rate of its own (scale ** -shape), drawn from a gamma
distribution that the groups together tell about. A group with few failures leans on the others, one with
many stands on its own. Limits come from the posterior over shape, pool and rate: for a group alone it is
the one whose limits are exact on complete records (flat in log scale and log shape).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from rigging.later import special
from rigging.reason import Input, Reason
from rigging.units import BadValue, FloatArray, array_in_range, in_range
from rigging.wear.records import MAX_HOURS, Records

SOURCE: Final = (
    "Weibull with gamma-distributed rates (empirical Bayes for groups, Carlin & Louis 2000, ch. 3); limits "
    "of location and scale by the right-invariant prior (Berger 1985, 6.6)"
)
SHAPES: Final = (0.3, 12.0)
"""Shapes that wear of kit is looked for in: early failures to sharp wear-out. Policy of this program."""

POOL_STRENGTHS: Final = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
"""How many failures the pool may count for in one group: the grid that is averaged over."""

NO_FAILURE_STRENGTH: Final = 0.5
"""Weight of the prior where nothing has failed yet (Jeffreys prior of a Poisson rate)."""

_COARSE: Final = 60
_FINE: Final = 41
_POOL_STEPS: Final = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
_NEGLIGIBLE: Final = 1e-7
_POINTS: Final = 4000
_ALIKE: Final = 20
_GOLDEN: Final = (5**0.5 - 1) / 2
_FAR: Final = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A figure with its limits at `confidence`, and its reason."""

    value: float
    low: float
    high: float
    confidence: float
    reason: Reason


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroupLife:
    """What the records say about the life of one group.

    `shapes` and `scales_h` are (4000,) points of equal weight that spread as wide as the doubt.
    `borrowed` is the share of the group's rate that the other groups lend it (0 to 1).
    """

    name: str
    failures: int
    count: int
    longest_h: float
    borrowed: float
    shapes: FloatArray
    scales_h: FloatArray
    confidence: float

    @property
    def shape(self) -> float:
        """Median of the shape."""
        return float(np.median(self.shapes))

    @property
    def scale_h(self) -> float:
        """Median of the scale [h]."""
        return float(np.median(self.scales_h))

    def shape_limits(self) -> tuple[float, float]:
        """Limits of the shape."""
        return self._limits(self.shapes)

    def scale_limits_h(self) -> tuple[float, float]:
        """Limits of the scale [h]."""
        return self._limits(self.scales_h)

    def life_h(self, failed_share: float = 0.5) -> Estimate:
        """Age [h] by which a share of new items has failed."""
        share = in_range("failed_share", failed_share, "", 1e-6, 1 - 1e-6)
        lives = self._age_of(np.full(1, -np.log1p(-share)))
        return self._estimate(lives, f"{share:.0%} fail by", "h", lives)

    def survival(self, ages_h: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Share of new items that reach each age (k,) [h]: median, lower and upper limit."""
        ages = np.atleast_1d(array_in_range("ages_h", ages_h, "h", 0, MAX_HOURS))
        tail = (1 - self.confidence) / 2
        middle, low, high = np.quantile(np.exp(-self._hazards(ages.ravel())), [0.5, tail, 1 - tail], axis=0)
        return middle, low, high

    def hazard_per_h(self, age_h: float) -> Estimate:
        """Failures per hour of an item that has reached an age [h]."""
        age = max(in_range("age_h", age_h, "h", 0, MAX_HOURS), _LEAST_AGE_H)
        hazard = self.shapes / self.scales_h * np.exp((self.shapes - 1) * np.log(age / self.scales_h))
        return self._estimate(np.minimum(hazard, _MOST_HAZARD), f"at {age:,.0f} h, failures per 1,000 h", "")

    def remaining_h(self, age_h: float) -> Estimate:
        """Hours that an item of an age [h] still has, as the median: half last longer."""
        age = in_range("age_h", age_h, "h", 0, MAX_HOURS)
        left = np.maximum(self._age_of(self._hazard(age) + np.log(2)) - age, 0.0)
        return self._estimate(left, f"at {age:,.0f} h, half last another", "h", left + age)

    def failure_probability(self, age_h: float, next_h: float) -> Estimate:
        """Probability that an item of an age [h] fails within the next hours [h]."""
        age = in_range("age_h", age_h, "h", 0, MAX_HOURS)
        ahead = in_range("next_h", next_h, "h", 0, MAX_HOURS)
        return self._estimate(
            self._probabilities(np.array([age]), ahead)[:, 0],
            f"at {age:,.0f} h, risk in the next {ahead:,.0f} h",
            "%",
        )

    def expected_failures(self, ages_h: ArrayLike, next_h: ArrayLike, *, mended: bool = False) -> Estimate:
        """Failures to expect among items of given ages [h] within their next hours [h].

        `next_h` is one number or one for each item. Counts each item once, or, where items are `mended` and
        go on at their age, every failure; limits are for the count itself, with its chance, by a Poisson
        mixture.
        """
        ages = np.atleast_1d(array_in_range("ages_h", ages_h, "h", 0, MAX_HOURS))
        ahead = array_in_range("next_h", next_h, "h", 0, MAX_HOURS)
        if ages.ndim != 1 or ahead.shape not in ((), ages.shape):
            raise BadValue("next_h", ahead.shape, "", "one number, or one for each item")
        more = self._more_hazard(ages, ahead) if mended else self._probabilities(ages, ahead)
        means = np.minimum(more.sum(axis=1), _MOST_FAILURES)
        tail = (1 - self.confidence) / 2
        most = _MOST_FAILURES if mended else len(ages)
        low, high = (min(_count_quantile(means, share), most) for share in (tail, 1 - tail))
        value = float(means.mean())
        span = f"{low} to {high}, {self.confidence:.0%}"
        told = f"failures of {len(ages)}" if mended else f"of {len(ages)} fail"
        reason = self._reason(f"{self._words()}: about {value:.1f} {told} ({span}).")
        return Estimate(value=value, low=low, high=high, confidence=self.confidence, reason=reason)

    def _probabilities(self, ages: FloatArray, ahead: FloatArray | float) -> FloatArray:
        """(points, items): probability to fail within the hours ahead, given the age."""
        probabilities: FloatArray = -np.expm1(-self._more_hazard(ages, ahead))
        return probabilities

    def _more_hazard(self, ages: FloatArray, ahead: FloatArray | float) -> FloatArray:
        """(points, items): cumulative hazard within the hours ahead."""
        more: FloatArray = np.maximum(self._hazards(ages + ahead) - self._hazards(ages), 0.0)
        return more

    def _hazard(self, age: float) -> FloatArray:
        return self._hazards(np.array([age]))[:, 0]

    def _hazards(self, ages: FloatArray) -> FloatArray:
        """(points, items): cumulative hazard at ages."""
        log_ratio = np.log(np.maximum(ages, _LEAST_AGE_H))[None, :] - np.log(self.scales_h)[:, None]
        hazards: FloatArray = np.exp(np.minimum(self.shapes[:, None] * log_ratio, _LOG_MOST))
        return hazards

    def _age_of(self, hazard: FloatArray) -> FloatArray:
        log_age = np.log(self.scales_h) + np.log(hazard) / self.shapes
        ages: FloatArray = np.exp(np.minimum(log_age, np.log(MAX_HOURS)))
        return ages

    def _limits(self, values: FloatArray) -> tuple[float, float]:
        tail = (1 - self.confidence) / 2
        low, high = np.quantile(values, [tail, 1 - tail])
        return float(low), float(high)

    def _estimate(self, values: FloatArray, what: str, unit: str, ages: FloatArray | None = None) -> Estimate:
        low, high = self._limits(values)
        # The mean is the probability that a bet should use; of hours the mean may not even exist.
        value = float(np.median(values)) if unit == "h" else float(values.mean())
        factor, sign = _PRINTED[unit]
        span = f"{_figure(factor * low)} to {_figure(factor * high)}"
        far = ages is not None and float(np.quantile(ages, 0.5)) > _FAR * self.longest_h
        doubt = f"; far beyond the {self.longest_h:,.0f} h on record" if far else ""
        text = (
            f"{self._words()}: {what} {_figure(factor * value)}{sign} ({span}, {self.confidence:.0%}){doubt}."
        )
        return Estimate(
            value=value, low=low, high=high, confidence=self.confidence, reason=self._reason(text)
        )

    def _words(self) -> str:
        counted = (
            f"{self.failures or 'No'} failure{'' if self.failures == 1 else 's'} in {self.count} records"
        )
        lent = f", {self.borrowed:.0%} borrowed from like models" if self.borrowed >= 0.005 else ""
        return f"{self.name}: {counted}{lent}"

    def _reason(self, text: str) -> Reason:
        return Reason(
            text=text,
            rule="Weibull life, shape shared by all groups, rates shrunk toward the pool",
            source=SOURCE,
            inputs=(
                Input("failures", float(self.failures)),
                Input("records", float(self.count)),
                Input("borrowed", self.borrowed),
            ),
        )


_LEAST_AGE_H: Final = 1e-6
_LOG_MOST: Final = 600.0
_MOST_HAZARD: Final = 1e12
_MOST_FAILURES: Final = 1_000_000
_PRINTED: Final = {"h": (1.0, " h"), "": (1000.0, ""), "%": (100.0, " %")}


def life_of_groups(groups: Mapping[str, Records], confidence: float = 0.95) -> dict[str, GroupLife]:
    """Return the life of each group of like items, all estimated together.

    Args:
        groups: name of an item model -> its checked records (`wear.records`), with failures or without.
        confidence: of all limits, 0.5 to 0.999.

    Raises:
        BadValue: for no groups, or a confidence out of range.

    Source: see the module; the rate of group g given the shape is gamma with strength + failures over
    pool + sum of (hours ** shape - entry ** shape).
    """
    in_range("confidence", confidence, "", 0.5, 0.999)
    if not groups:
        raise BadValue("groups", "empty", "", "at least one group of records")
    known = list(groups.values())
    top = max(float(each.hours.max()) for each in known)
    failures = np.array([each.failures for each in known])
    log_sum = sum(float(np.log(each.hours[each.failed] / top).sum()) for each in known)
    shapes = _shape_grid(known, top, failures, log_sum)
    exposure = _exposure(known, top, shapes)
    parts = _components(shapes, exposure, failures, log_sum)
    return {
        name: _group(name, each, place, parts, exposure, top, confidence)
        for place, (name, each) in enumerate(groups.items())
    }


@dataclass(frozen=True, slots=True)
class _Components:
    """The grid of shape, pool strength and pool that is averaged over, each (m,); `at` indexes the shapes."""

    shapes: FloatArray
    at: np.ndarray[tuple[int], np.dtype[np.int64]]
    strength: FloatArray
    pool: FloatArray
    weight: FloatArray


def _exposure(known: list[Records], top: float, shapes: FloatArray) -> FloatArray:
    """(shapes, groups): sum of hours ** shape - entry ** shape, hours in units of the longest."""
    columns = []
    for each in known:
        log_end = np.log(each.hours / top)
        late = each.entry_hours > 0
        log_start = np.log(each.entry_hours[late] / top)
        ends = np.exp(shapes[:, None] * log_end).sum(axis=1)
        columns.append(ends - np.exp(shapes[:, None] * log_start).sum(axis=1))
    exposure: FloatArray = np.maximum(np.column_stack(columns), _LEAST_EXPOSURE)
    return exposure


_LEAST_EXPOSURE: Final = 1e-280


def _shape_grid(known: list[Records], top: float, failures: FloatArray, log_sum: float) -> FloatArray:
    """Shapes evenly on the log scale over the range that the records leave open."""
    coarse = np.geomspace(*SHAPES, _COARSE)
    parts = _components(coarse, _exposure(known, top, coarse), failures, log_sum)
    weight = np.bincount(parts.at, parts.weight, minlength=_COARSE)
    (open_,) = np.nonzero(weight > _NEGLIGIBLE * weight.max())
    low, high = max(open_[0] - 1, 0), min(open_[-1] + 1, _COARSE - 1)
    grid: FloatArray = np.geomspace(coarse[low], coarse[high], _FINE)
    return grid


def _components(
    shapes: FloatArray, exposure: FloatArray, failures: FloatArray, log_sum: float
) -> _Components:
    """Weights of the grid: the records' likelihood with every group's rate integrated out."""
    groups = exposure.shape[1]
    if groups == 1 or failures.sum() == 0:
        strength = np.full((1, 1), NO_FAILURE_STRENGTH if failures.sum() == 0 else 0.0)
        pool, error = np.zeros((len(shapes), 1, 1)), np.ones((len(shapes), 1, 1))
    else:
        strength = np.array(POOL_STRENGTHS)[:, None]
        pool, error = _pools(exposure, failures, strength[:, 0])
    shape = shapes[:, None, None]
    a, b = strength[None], pool
    posterior_a = a[..., None] + failures
    # Flat in the log of the scale is flat in log(rate) / shape: hence one shape less, and the steps' width.
    logs = (failures.sum() - 1) * np.log(shape) + shape * log_sum + np.log(error)
    logs = logs + (
        special.gammaln(posterior_a) - posterior_a * np.log(b[..., None] + exposure[:, None, None, :])
    ).sum(-1)
    if groups > 1 and failures.sum() > 0:
        logs = logs + groups * (a * np.log(b) - special.gammaln(a))
    weight = np.exp(logs - logs.max())
    at, strength_at, _ = np.indices(weight.shape)
    keep = weight > _NEGLIGIBLE
    return _Components(
        shapes=shapes[at[keep]],
        at=at[keep],
        strength=strength[strength_at[keep], 0],
        pool=np.broadcast_to(b, weight.shape)[keep],
        weight=weight[keep] / weight[keep].sum(),
    )


def _pools(
    exposure: FloatArray, failures: FloatArray, strengths: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """(shapes, strengths, steps) pools about the likeliest, and (shapes, strengths, 1) their log step."""
    a = strengths[None, :, None]
    raised = a + failures
    times = exposure[:, None, :]
    low = np.full((len(exposure), len(strengths)), _LOG_POOL[0])
    high = np.full_like(low, _LOG_POOL[1])
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        b = np.exp(middle)[..., None]
        rising = len(failures) * strengths > (raised * b / (b + times)).sum(-1)
        low, high = np.where(rising, middle, low), np.where(rising, high, middle)
    b = np.exp(low)[..., None]
    error = np.minimum(1 / np.sqrt((raised * b * times / (b + times) ** 2).sum(-1)), _MOST_ERROR)[..., None]
    return np.exp(low[..., None] + error * np.array(_POOL_STEPS)), error


_LOG_POOL: Final = (-80.0, 80.0)
_HALVINGS: Final = 50
_MOST_ERROR: Final = 5.0


def _group(
    name: str,
    known: Records,
    place: int,
    parts: _Components,
    exposure: FloatArray,
    top: float,
    confidence: float,
) -> GroupLife:
    """Points of equal weight: components picked evenly by weight, rates spread evenly over their gamma."""
    picked = np.searchsorted(np.cumsum(parts.weight), (np.arange(_POINTS) + 0.5) / _POINTS * (1 - 1e-12))
    picked = np.minimum(picked, len(parts.weight) - 1)
    spread = (np.arange(_POINTS) + 0.5) * _GOLDEN % 1
    strength = parts.strength[picked]
    rate = special.gammaincinv(strength + known.failures, spread) / (
        parts.pool[picked] + exposure[parts.at[picked], place]
    )
    shapes = parts.shapes[picked]
    log_scale = np.log(top) - np.log(np.maximum(rate, _LEAST_EXPOSURE)) / shapes
    lent = strength / (strength + known.failures) if parts.pool.any() else np.zeros(_POINTS)
    return GroupLife(
        name=name,
        failures=known.failures,
        count=len(known.hours),
        longest_h=float(known.hours.max()),
        borrowed=float(lent.mean()),
        shapes=shapes,
        scales_h=np.exp(np.minimum(log_scale, _LOG_MOST)),
        confidence=confidence,
    )


def _count_quantile(means: FloatArray, share: float) -> int:
    """Smallest count whose probability, averaged over the means, reaches a share."""
    # Neighbours among the sorted means are alike: a few hundred speak for the thousands.
    means = np.sort(means).reshape(-1, _ALIKE).mean(axis=1)
    low, high = -1, int(means.max() + 12 * sqrt(means.max())) + 20
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if float(special.pdtr(middle, means).mean()) >= share else (middle, high)
    return high


def _figure(value: float) -> str:
    """Two significant digits below 100, whole hours above."""
    return f"{value:,.0f}" if value >= 100 else f"{float(f'{value:.2g}'):g}"
