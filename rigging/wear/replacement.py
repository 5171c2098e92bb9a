"""Preventive replacement: the age at which to replace before failure, at the least cost per hour."""

from dataclasses import dataclass
from math import exp, gamma, inf, log
from typing import Final, Protocol

from rigging.later import optimize, special
from rigging.reason import Input, Reason
from rigging.units import BadValue, in_range
from rigging.wear.records import MAX_HOURS

SOURCE: Final = "age replacement, Barlow & Hunter 1960, Oper. Res. 8:90; Barlow & Proschan 1965, ch. 4"

RUN_OUT: Final = 30.0
"""Cumulative hazard past which nothing is left to replace: survival below 1e-13."""


class Life(Protocol):
    """A Weibull life, as `wear.fit_weibull` and `wear.life_of_groups` return."""

    @property
    def shape(self) -> float: ...
    @property
    def scale_h(self) -> float: ...


_ALL_SURVIVE: Final = -25.0
"""Log cumulative hazard below which survival is 1 to ten digits and the incomplete gamma underflows."""


_NONE_SURVIVE: Final = log(700.0)
"""Log cumulative hazard past which survival is 0 in any float."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Replacement:
    """When to replace: `age_h` [h], or None to run until failure; cost per hour, and its share of that."""

    age_h: float | None
    cost_rate: float
    ratio: float
    reason: Reason


def cost_rate(life: Life, age_h: float, planned_cost: float, failure_cost: float) -> float:
    """Return the long-run cost per hour of replacing at an age or at failure, whichever comes first.

    Args:
        life: the items' life.
        age_h: age of replacement [h], above 0.
        planned_cost, failure_cost: cost of either replacement, above 0, in one currency.

    Raises:
        BadValue: for numbers out of range.

    Source: Barlow & Hunter 1960: (planned R + failure (1 - R)) over the mean hours in service.
    """
    in_range("age_h", age_h, "h", 1e-9, 1e12)
    _costs(planned_cost, failure_cost)
    log_hazard = min(life.shape * log(age_h / life.scale_h), _NONE_SURVIVE)
    reached = exp(-exp(log_hazard))
    return (planned_cost * reached + failure_cost * (1 - reached)) / _mean_service_h(life, log_hazard)


def preventive_age(life: Life, planned_cost: float, failure_cost: float) -> Replacement:
    """Return the age of preventive replacement that costs least per hour.

    None where waiting for failure costs least: the hazard doesn't rise (shape at most 1), failure costs no
    more than planned replacement, or the best age is one that practically nothing reaches.

    Raises:
        BadValue: for costs that are not above 0.

    Source: Barlow & Hunter 1960: h(T) times the mean service less F(T) equals c_p / (c_f - c_p).
    """
    _costs(planned_cost, failure_cost)
    run_out = failure_cost / _mean_service_h(life, _NONE_SURVIVE)
    hazard = _best_hazard(life, planned_cost, failure_cost)
    if hazard is None:
        return Replacement(
            age_h=None,
            cost_rate=run_out,
            ratio=1.0,
            reason=_reason(
                life, planned_cost, failure_cost, "Run until failure: replacing early saves nothing"
            ),
        )
    age = life.scale_h * hazard ** (1 / life.shape)
    rate = cost_rate(life, age, planned_cost, failure_cost)
    words = f"Replace at {age:,.0f} h: {rate / run_out:.0%} of the cost of running until failure"
    return Replacement(
        age_h=age,
        cost_rate=rate,
        ratio=rate / run_out,
        reason=_reason(life, planned_cost, failure_cost, words),
    )


def mended_age(life: Life, new_cost: float, fault_cost: float) -> Replacement:
    """Return the age of retirement that costs least per hour for items that go on at their age once mended.

    None where keeping them costs least: faults don't come faster with age (shape at most 1). `ratio` is then
    1; else it compares with keeping items twice as long.

    Args:
        life: hazard of faults by age.
        new_cost: cost of a new item, above 0.
        fault_cost: cost of one fault, mending included, above 0, in the same currency.

    Raises:
        BadValue: for costs that are not above 0.

    Source: Barlow & Hunter 1960, policy II (minimal repair): the cost per hour (new + fault H(T)) / T is
    least where H(T) = new / (fault (shape - 1)).
    """
    for name, cost in (("new_cost", new_cost), ("fault_cost", fault_cost)):
        _above_nothing(name, cost)
    log_hazard = log(new_cost / fault_cost / (life.shape - 1)) if life.shape > 1 else inf
    log_age = log(life.scale_h) + log_hazard / life.shape
    if log_age > log(MAX_HOURS):
        rate = new_cost / MAX_HOURS + fault_cost * _rate_at(life, MAX_HOURS)
        words = "Keep until beyond mending: faults don't come faster with age"
        return Replacement(
            age_h=None, cost_rate=rate, ratio=1.0, reason=_mended_reason(life, new_cost, fault_cost, words)
        )
    age = exp(log_age)
    rate, twice = (_mended_rate(life, t, new_cost, fault_cost) for t in (age, 2 * age))
    words = f"Retire at {age:,.0f} h: {rate / twice:.0%} of the cost of keeping it twice as long"
    return Replacement(
        age_h=age,
        cost_rate=rate,
        ratio=rate / twice,
        reason=_mended_reason(life, new_cost, fault_cost, words),
    )


def _mended_rate(life: Life, age: float, new_cost: float, fault_cost: float) -> float:
    return new_cost / age + fault_cost * _rate_at(life, age)


def _rate_at(life: Life, age: float) -> float:
    """Faults per hour, on average up to an age, by the cumulative hazard."""
    return exp(life.shape * log(age / life.scale_h)) / age


def _mended_reason(life: Life, new_cost: float, fault_cost: float, words: str) -> Reason:
    times = new_cost / fault_cost
    return Reason(
        text=f"{words} (shape {life.shape:.2f}, a new one costs {times:.1f} times as much as a fault).",
        rule="retirement of mended items at the least long-run cost per hour",
        source=f"{SOURCE}; minimal repair",
        inputs=(
            Input("shape", life.shape),
            Input("scale", life.scale_h, "h"),
            Input("new", new_cost),
            Input("fault", fault_cost),
        ),
    )


def _best_hazard(life: Life, planned_cost: float, failure_cost: float) -> float | None:
    if life.shape <= 1 or failure_cost <= planned_cost:
        return None
    target = planned_cost / (failure_cost - planned_cost)

    def excess(log_hazard: float) -> float:
        hazard = exp(log_hazard)
        rising = life.shape / life.scale_h * hazard ** (1 - 1 / life.shape)
        return float(rising * _mean_service_h(life, log_hazard) - (1 - exp(-hazard)) - target)

    low, high = log(1e-12), log(RUN_OUT)
    if excess(high) <= 0:
        return None
    return exp(float(optimize.brentq(excess, low, high, xtol=1e-12))) if excess(low) < 0 else None


def _mean_service_h(life: Life, log_hazard: float) -> float:
    """Mean hours in service up to an age of a given log cumulative hazard: the integral of survival."""
    if log_hazard < _ALL_SURVIVE:
        return life.scale_h * exp(log_hazard / life.shape)
    hazard = exp(log_hazard)
    return life.scale_h * gamma(1 + 1 / life.shape) * float(special.gammainc(1 / life.shape, hazard))


def _costs(planned_cost: float, failure_cost: float) -> None:
    for name, cost in (("planned_cost", planned_cost), ("failure_cost", failure_cost)):
        _above_nothing(name, cost)


def _above_nothing(name: str, cost: float) -> None:
    if in_range(name, cost, "", 0, 1e12) == 0:
        raise BadValue(name, cost, "", "above 0")


def _reason(life: Life, planned_cost: float, failure_cost: float, words: str) -> Reason:
    times = failure_cost / planned_cost
    return Reason(
        text=f"{words} (shape {life.shape:.2f}, failure costs {times:.1f} times as much).",
        rule="age replacement at the least long-run cost per hour",
        source=SOURCE,
        inputs=(
            Input("shape", life.shape),
            Input("scale", life.scale_h, "h"),
            Input("planned", planned_cost),
            Input("failure", failure_cost),
        ),
    )
