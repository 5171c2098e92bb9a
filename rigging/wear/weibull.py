"""Weibull lives by maximum likelihood from censored and truncated records."""

from dataclasses import dataclass
from math import exp, gamma, log, sqrt
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from rigging.later import optimize, special
from rigging.reason import Input, Reason
from rigging.units import BadValue, FloatArray, array_in_range, in_range
from rigging.wear.records import MAX_HOURS, Records, records

SOURCE: Final = (
    "Weibull by maximum likelihood: Meeker & Escobar 1998, ch. 8 (censored) and ch. 11 (truncated); "
    "limits from the observed information"
)
SHAPE_RANGE: Final = (0.05, 60.0)
"""Shapes looked for. Beyond, the records don't fix one: a limit of this program, no source."""

_LOG_MOST: Final = 600.0

LEAST_TOTAL: Final = 1e-300
"""Keeps the score finite where entries lie so near the ends that floats don't tell them apart."""

FEW_FAILURES: Final = 10
"""With fewer failures, limits from the information matrix are too narrow. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeibullLife:
    """A Weibull life: survival exp(-(t / scale_h) ** shape).

    `covariance` is of (shape, scale_h), from the observed information, (2, 2).
    """

    shape: float
    scale_h: float
    covariance: FloatArray
    log_likelihood: float
    failures: int
    count: int
    reason: Reason

    @property
    def mean_h(self) -> float:
        """Mean life [h]."""
        return float(self.scale_h * gamma(1 + 1 / self.shape))

    def survival(self, age_h: ArrayLike) -> FloatArray:
        """Share that reaches an age [h]."""
        ages = array_in_range("age_h", age_h, "h", 0, MAX_HOURS)
        # Past a cumulative hazard of 700 survival is 0 in any float; the cap only keeps powers finite.
        survival: FloatArray = np.exp(
            -(np.minimum(ages / self.scale_h, 700 ** (1 / self.shape)) ** self.shape)
        )
        return survival

    def life_h(self, failed_share: float) -> float:
        """Age [h] by which a share of items has failed (0.10 gives the B10 life)."""
        share = in_range("failed_share", failed_share, "", 1e-9, 1 - 1e-9)
        return float(self.scale_h * (-log(1 - share)) ** (1 / self.shape))

    def limits(self, confidence: float = 0.95) -> tuple[tuple[float, float], tuple[float, float]]:
        """Limits of shape and of scale [h], normal on the log scale: for ten failures and more."""
        z = float(special.ndtri((1 + in_range("confidence", confidence, "", 0.5, 0.9999)) / 2))
        spread = [z * sqrt(float(self.covariance[i, i])) for i in (0, 1)]
        return tuple(  # type: ignore[return-value]
            (value * exp(-min(each / value, _LOG_MOST)), value * exp(min(each / value, _LOG_MOST)))
            for value, each in zip((self.shape, self.scale_h), spread, strict=True)
        )


def fit_weibull(hours: ArrayLike, failed: ArrayLike, entry_hours: ArrayLike | None = None) -> WeibullLife:
    """Fit a Weibull life to service records.

    Args:
        hours: age at failure, or at the end of watching (n,) [h].
        failed: whether each record ends in failure (n,).
        entry_hours: age at which watching began (n,) [h]; left out for items watched from new.

    Raises:
        BadValue: for bad records, no failure, or records that fix no shape (such as a lone failure that is
            also the oldest record).

    Source: likelihood of truncated and censored lives (Meeker & Escobar 1998); the scale is eliminated, so
    one equation in the shape is left.
    """
    known = records(hours, failed, entry_hours)
    if known.failures == 0:
        raise BadValue("failed", 0, "failures", "at least 1 failure; without one use wear.life_of_groups")
    shape = _shape(known)
    scale = scale_given(known, shape)
    return WeibullLife(
        shape=shape,
        scale_h=scale,
        covariance=_covariance(known, shape, scale),
        log_likelihood=_log_likelihood(known, shape, scale),
        failures=known.failures,
        count=len(known.hours),
        reason=_reason(known, shape, scale),
    )


def scale_given(known: Records, shape: float) -> float:
    """The scale [h] of greatest likelihood for a shape."""
    top = float(known.hours.max())
    powered = ((known.hours / top) ** shape - (known.entry_hours / top) ** shape).sum() / known.failures
    return float(top * powered ** (1 / shape))


def _shape(known: Records) -> float:
    """Root of the profile score on the log scale; hours in units of the longest, so that none overflows."""
    top = known.hours.max()
    log_t = np.log(known.hours / top)
    entered = known.entry_hours > 0
    log_e = np.log(known.entry_hours[entered] / top)
    failure_logs = float(log_t[known.failed].mean())

    def score(log_shape: float) -> float:
        shape = exp(log_shape)
        weight_t, weight_e = np.exp(shape * log_t), np.exp(shape * log_e)
        total = max(weight_t.sum() - weight_e.sum(), LEAST_TOTAL)
        return float(1 / shape + failure_logs - (weight_t @ log_t - weight_e @ log_e) / total)

    low, high = (log(bound) for bound in SHAPE_RANGE)
    if not score(low) > 0 > score(high):
        raise BadValue("hours", known.failures, "failures", "spread so that they fix a shape")
    return exp(float(optimize.brentq(score, low, high, xtol=1e-12, rtol=1e-12)))


def _log_likelihood(known: Records, shape: float, scale: float) -> float:
    ratio, entry = known.hours / scale, known.entry_hours / scale
    failures = known.failures * log(shape / scale) + (shape - 1) * float(np.log(ratio[known.failed]).sum())
    return float(failures - (ratio**shape - entry**shape).sum())


def _covariance(known: Records, shape: float, scale: float) -> FloatArray:
    """Inverse of the observed information of (shape, scale)."""
    entered = known.entry_hours > 0
    ages = np.concatenate([known.hours, known.entry_hours[entered]])
    sign = np.concatenate([np.ones(len(known.hours)), -np.ones(int(entered.sum()))])
    u = np.log(ages / scale)
    z = sign * np.exp(shape * u)
    r = known.failures
    by_shape = r / shape**2 + (z * u**2).sum()
    mixed = (r - (z * (1 + shape * u)).sum()) / scale
    by_scale = (shape * (shape + 1) * z.sum() - r * shape) / scale**2
    determinant = by_shape * by_scale - mixed**2
    if not 0 < determinant < np.inf:
        raise BadValue("hours", r, "failures", "spread so that they fix a shape and a scale")
    covariance: FloatArray = np.array([[by_scale, -mixed], [-mixed, by_shape]]) / determinant
    return covariance


def _reason(known: Records, shape: float, scale: float) -> Reason:
    few = (
        ""
        if known.failures >= FEW_FAILURES
        else "; few failures, so take its limits from wear.life_of_groups"
    )
    kind = "wears out" if shape > 1 else "fails by chance or early, not by age"
    return Reason(
        text=(
            f"{known.failures} failures in {len(known.hours)} records: shape {shape:.2f} ({kind}), "
            f"63 % fail by {scale:,.0f} h{few}."
        ),
        rule="Weibull life of greatest likelihood",
        source=SOURCE,
        inputs=(Input("failures", float(known.failures)), Input("records", float(len(known.hours)))),
    )
