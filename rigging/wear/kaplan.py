"""Survival without a model: the product-limit estimate with its limits."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigging.later import special
from rigging.units import FloatArray, in_range
from rigging.wear.records import records

SOURCE: Final = (
    "Kaplan & Meier 1958, J. Am. Stat. Assoc. 53:457; standard error Greenwood 1926; limits on the log-log "
    "scale; cumulative hazard Nelson 1972 and Aalen 1978"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KaplanMeier:
    """Survival at each age of failure, arrays (k,) in rising order of age [h]."""

    hours: FloatArray
    at_risk: NDArray[np.int64]
    failures: NDArray[np.int64]
    survival: FloatArray
    standard_error: FloatArray
    low: FloatArray
    high: FloatArray
    cumulative_hazard: FloatArray
    confidence: float

    @property
    def median_h(self) -> float | None:
        """First age [h] by which half have failed; None where fewer did."""
        half = self.survival <= 0.5 + 1e-12
        return float(self.hours[half][0]) if half.any() else None

    def at(self, age_h: float) -> float:
        """Survival to an age [h]."""
        before = int(np.searchsorted(self.hours, in_range("age_h", age_h, "h", 0, 1e9), side="right"))
        return float(self.survival[before - 1]) if before else 1.0


def kaplan_meier(
    hours: ArrayLike, failed: ArrayLike, entry_hours: ArrayLike | None = None, confidence: float = 0.95
) -> KaplanMeier:
    """Return the product-limit estimate of survival.

    Args:
        hours: age at failure, or at the end of watching (n,) [h].
        failed: whether each record ends in failure (n,).
        entry_hours: age at which watching began (n,) [h].
        confidence: of the pointwise limits.

    A record censored at an age of failure was still at risk there. Without failures the arrays are empty.
    With late entries the survival is that of items alive when the first was watched.

    Raises:
        BadValue: for bad records or confidence.

    Source: Kaplan & Meier 1958; Greenwood 1926.
    """
    known = records(hours, failed, entry_hours)
    z = float(special.ndtri((1 + in_range("confidence", confidence, "", 0.5, 0.9999)) / 2))
    ages, dead = np.unique(known.hours[known.failed], return_counts=True)
    ended = np.searchsorted(np.sort(known.hours), ages, side="left")
    entered = np.searchsorted(np.sort(known.entry_hours), ages, side="left")
    at_risk = entered - ended
    survival = np.cumprod(1 - dead / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(np.where(dead < at_risk, dead / (at_risk * (at_risk - dead)), 0.0))
        reach = z * np.sqrt(greenwood) / np.abs(np.log(survival))
        low, high = survival ** np.exp(reach), survival ** np.exp(-reach)
    open_ended = survival > 0
    return KaplanMeier(
        hours=ages,
        at_risk=at_risk,
        failures=dead,
        survival=survival,
        standard_error=survival * np.sqrt(greenwood),
        low=np.where(open_ended, low, 0.0),
        high=np.where(open_ended, high, _last_high(high, survival)),
        cumulative_hazard=np.cumsum(dead / at_risk),
        confidence=confidence,
    )


def _last_high(high: FloatArray, survival: FloatArray) -> float:
    """Once nobody is left, the formula has no upper limit; the last one that it had still holds."""
    left = high[survival > 0]
    return float(left[-1]) if len(left) else 1.0
