"""Incident rates with exact limits, the comparison of two periods, and honesty about small numbers."""

from dataclasses import dataclass
from typing import Final

from rigging.later import special
from rigging.reason import Input, Reason
from rigging.units import BadValue, in_range

GARWOOD: Final = "Garwood 1936, Biometrika 28:437: exact limits of a Poisson count"
CONDITIONAL: Final = (
    "Przyborowski & Wilenski 1940, Biometrika 31:313: counts given their sum are binomial; "
    "two-sided as twice the smaller tail, so that it agrees with the limits (Fay 2010, R Journal 2:53)"
)
PER: Final = 1000.0
"""Rates are told per thousand."""

FEW: Final = 5
"""Fewer incidents than this are told with the warning that they are few. A choice of wording."""

LEAST_P: Final = 0.001
"""Smaller probabilities are told as smaller than this. A choice of wording."""

MAX_COUNT: Final = 10_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """A rate per thousand of exposure, with exact limits at `confidence`."""

    count: int
    exposure: float
    per_thousand: float
    low: float
    high: float
    confidence: float
    reason: Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The first period's rate over the second's, with exact limits.

    `ratio` is None when the second period had no incident, `low` and `high` None where there is no bound.
    `p_value` is the probability of a split at least as uneven if both periods had one rate.
    """

    ratio: float | None
    low: float | None
    high: float | None
    p_value: float
    confidence: float
    differs: bool
    reason: Reason


def poisson_limits(count: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return exact limits of the expected number behind a count of rare events.

    Args:
        count: how many were counted.
        confidence: share between 0.5 and 0.9999.

    Raises:
        BadValue: for counts that are not whole or negative, and confidences out of range.

    Source: Garwood 1936: chi-square quantiles, written with the incomplete gamma function.
    """
    events, tail = _whole("count", count), (1 - in_range("confidence", confidence, "", 0.5, 0.9999)) / 2
    low = float(special.gammaincinv(events, tail)) if events else 0.0
    return low, float(special.gammaincinv(events + 1, 1 - tail))


def rate_limits(
    count: int, exposure: float, confidence: float = 0.95, *, of: str = "incidents", per: str = "launches"
) -> Rate:
    """Return a rate per thousand with exact limits and a sentence that doesn't claim too much.

    Args:
        count: how many were counted.
        exposure: launches or hours they were counted in, above 0.
        confidence: share between 0.5 and 0.9999.
        of, per: words for the sentence.

    Raises:
        BadValue: for counts that are not whole, exposures that are not above 0, confidences out of range.

    Source: Garwood 1936.
    """
    low, high = poisson_limits(count, confidence)
    spent = _exposure("exposure", exposure)
    rate, low, high = (PER * number / spent for number in (count, low, high))
    limits = f"{confidence:.0%}: {_figure(low)} to {_figure(high)}"
    reason = Reason(
        text=f"{_counted(count, of, spent, per)}: {_figure(rate)} per thousand ({limits}).{_few(count)}",
        rule=f"count per thousand {per} with exact limits at {confidence:.0%}",
        source=GARWOOD,
        inputs=(Input(of, float(count)), Input(per, spent)),
    )
    return Rate(
        count=int(count),
        exposure=spent,
        per_thousand=rate,
        low=low,
        high=high,
        confidence=confidence,
        reason=reason,
    )


def compare(
    count: int,
    exposure: float,
    count_before: int,
    exposure_before: float,
    confidence: float = 0.95,
) -> Comparison:
    """Return how the rate of one period compares with the period before.

    Args:
        count, exposure: this period.
        count_before, exposure_before: the period that it is held against.
        confidence: share between 0.5 and 0.9999.

    Raises:
        BadValue: as `rate_limits`.

    Source: exact conditional test (Przyborowski & Wilenski 1940); limits by Clopper & Pearson 1934.
    """
    now, before = _whole("count", count), _whole("count_before", count_before)
    spent, spent_before = _exposure("exposure", exposure), _exposure("exposure_before", exposure_before)
    tail = (1 - in_range("confidence", confidence, "", 0.5, 0.9999)) / 2
    scale = spent_before / spent
    low = _odds(float(special.betaincinv(now, before + 1, tail))) * scale if now else None
    high = _odds(float(special.betaincinv(now + 1, before, 1 - tail))) * scale if before else None
    p_value = _two_sided(now, now + before, spent / (spent + spent_before))
    differs = p_value < 1 - confidence
    reason = Reason(
        text=_comparison_words(now, spent, before, spent_before, p_value, differs),
        rule=f"exact conditional comparison at {confidence:.0%}",
        source=CONDITIONAL,
        inputs=(Input("this period", float(now)), Input("before", float(before)), Input("p", p_value)),
    )
    return Comparison(
        ratio=now / before * scale if before else None,
        low=low,
        high=high,
        p_value=p_value,
        confidence=confidence,
        differs=differs,
        reason=reason,
    )


def _whole(name: str, count: int) -> int:
    number = in_range(name, count, "", 0, MAX_COUNT)
    if number != int(number):
        raise BadValue(name, count, "", "a whole number")
    return int(number)


def _exposure(name: str, exposure: float) -> float:
    return in_range(name, exposure, "", 1e-3, 1e12)


def _odds(share: float) -> float:
    return share / (1 - share)


def _two_sided(count: int, total: int, share: float) -> float:
    """Twice the smaller tail of a binomial count, at most 1."""
    lower = float(special.bdtr(count, total, share))
    upper = float(special.bdtrc(count - 1, total, share)) if count else 1.0
    return min(1.0, 2 * min(lower, upper))


def _counted(count: int, of: str, spent: float, per: str) -> str:
    return f"{int(count) or 'No'} {of} in {spent:,.0f} {per}"


def _few(count: int) -> str:
    if count == 0:
        return " None so far doesn't mean none to come: mind the upper limit."
    return " Few events: another season may well differ." if count < FEW else ""


def _figure(value: float) -> str:
    """Two significant digits, never in powers of ten."""
    return f"{float(f'{value:.2g}'):,.12g}"


def _chance(p_value: float) -> str:
    return f"p = {_figure(p_value)}" if p_value >= LEAST_P else f"p < {LEAST_P:g}"


def _comparison_words(
    now: int, spent: float, before: int, spent_before: float, p_value: float, differs: bool
) -> str:
    rates = f"{_figure(PER * now / spent)} per thousand against {_figure(PER * before / spent_before)}"
    if differs:
        return f"{rates}: more than chance would explain ({_chance(p_value)})."
    if now + before < 2 * FEW:
        return f"{rates}: {now + before} events are too few to tell ({_chance(p_value)})."
    return f"{rates}: within what chance explains ({_chance(p_value)})."
