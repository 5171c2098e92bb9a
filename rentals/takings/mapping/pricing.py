"""The price of a time on the water, the late fee, and the tax within a price: pure rules on money."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from rentals.lib.money import ROUNDING_RULE, Money, half_up
from rigging.reason import COMMON_PRACTICE, POLICY, Input, Reason
from rigging.units import in_range

LONGEST_MIN: Final = 24 * 60
EN_16931: Final = "EN 16931-1:2017, BR-CO-17; the fraction of a price with tax within: rate / (100 + rate)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tariff:
    """What one rider pays by the hour, half-day and day, where a station sells it so."""

    hour: Money | None = None
    half_day: Money | None = None
    day: Money | None = None
    hour_step_min: int
    half_day_min: int


@dataclass(frozen=True, slots=True)
class Priced:
    """An amount and why."""

    amount: Money
    reason: Reason


@dataclass(frozen=True, slots=True)
class Way:
    """One way to pay for a time."""

    amount: Money
    text: str


def by_time(minutes: float, tariff: Tariff) -> Priced | None:
    """Return the cheapest way to pay for a time; None when it is not sold by time.

    Ways are: started steps of hours; a half-day and started steps beyond; a day. More time never costs less.

    Args:
        minutes: length, 0 to 1440.
        tariff: prices and steps.

    Raises:
        BadValue: a length out of its range.

    Source: common practice, no source.
    """
    in_range("length", minutes, "min", 0, LONGEST_MIN)
    ways = sorted(_ways(minutes, tariff), key=lambda way: way.amount.minor)
    if not ways:
        return None
    others = "".join(f"; {way.text} would cost {way.amount}" for way in ways[1:])
    reason = Reason(
        text=f"{_length(minutes)}: {ways[0].text}, {ways[0].amount}{others}.",
        rule="cheapest way to pay for the time, hours by started steps",
        source=COMMON_PRACTICE,
        inputs=(Input("length", minutes, "min"), Input("step", tariff.hour_step_min, "min")),
    )
    return Priced(ways[0].amount, reason)


def late_fee(
    late_min: float, *, grace_min: int, step_min: int, step_fee: Money, most: Money
) -> Priced | None:
    """Return the fee for coming back late; None within the grace or where the station takes none.

    Args:
        late_min: minutes after the end that was booked.
        grace_min: minutes that cost nothing.
        step_min: length of a step, each of which costs when it has begun.
        step_fee: fee of a step.
        most: highest fee.

    Source: the station's own setting.
    """
    if late_min <= grace_min or not step_fee:
        return None
    steps = -int(-(late_min - grace_min) // step_min)
    amount = min(step_fee * steps, most)
    reason = Reason(
        text=(
            f"{late_min:.0f} min late, {grace_min} min free: {steps} started steps of {step_min} min "
            f"at {step_fee}, at most {most}: {amount}."
        ),
        rule="late fee by started steps after the grace",
        source=POLICY,
        inputs=(Input("late", float(late_min), "min"), Input("grace", grace_min, "min")),
    )
    return Priced(amount, reason)


@dataclass(frozen=True, slots=True)
class Share:
    """The share of a price that is kept of an outing which was called off, and why, in words."""

    pct: int
    said: str


def cancel_share(*, ahead_min: float, free_hours: int, share_pct: int) -> Share:
    """Return the share of the price that calling off costs: none in time.

    Args:
        ahead_min: minutes before the start; negative after it.
        free_hours: up to how many hours before the start it is free.
        share_pct: share of the price after that, 0 to 100.

    Source: the station's own setting.
    """
    free = ahead_min >= free_hours * 60
    ahead = f"{_length(ahead_min)} before the start" if ahead_min > 0 else "after the start"
    return Share(0 if free else share_pct, f"Called off {ahead}, free until {free_hours} h before it")


def share_of(price: Money, share: Share) -> Priced | None:
    """Return what a share of a price costs; None when there is none of it."""
    if not price or not share.pct:
        return None
    amount = price.times(Decimal(share.pct) / 100)
    return Priced(amount, _share_reason(share, f"{share.pct} % of {price}: {amount}, {ROUNDING_RULE}"))


def share_of_minutes(minutes: int, share: Share) -> tuple[int, Reason]:
    """Return how many minutes of a pass a share costs, whole ones begun, and why."""
    kept = -(-minutes * share.pct // 100)
    return kept, _share_reason(share, f"{share.pct} % of {minutes} min: {kept} min of the pass")


def nothing_of(share: Share) -> Reason:
    """Return why a share costs nothing."""
    return _share_reason(share, "nothing to pay")


def _share_reason(share: Share, comes_to: str) -> Reason:
    return Reason(
        text=f"{share.said}: {comes_to}.",
        rule="a share of the price of an outing called off",
        source=POLICY,
        inputs=(Input("share", share.pct, "%"),),
    )


def tax_within(gross: Money, pct: Decimal) -> Money:
    """Return the tax within a price, rounded half up to the minor unit.

    Args:
        gross: price with tax within; negative for one taken back.
        pct: rate in percent.

    Source: EN 16931-1:2017, BR-CO-17: tax = taxable amount x rate / 100, here solved for the price with tax.
    """
    return Money(half_up(Decimal(gross.minor) * pct / (100 + pct)), gross.currency)


def tax_reason(gross: Money, pct: Decimal) -> Reason:
    """Return why the tax within a price is what it is."""
    tax = tax_within(gross, pct)
    return Reason(
        text=f"{gross} holds {pct.normalize():f} % tax: {tax}, {ROUNDING_RULE}.",
        rule="tax within a price",
        source=EN_16931,
        inputs=(Input("rate", float(pct), "%"),),
    )


def _ways(minutes: float, tariff: Tariff) -> Iterator[Way]:
    if tariff.hour is not None:
        yield _hours(minutes, tariff.hour, tariff.hour_step_min)
    if tariff.half_day is not None:
        over = minutes - tariff.half_day_min
        if over <= 0:
            yield Way(tariff.half_day, f"a half-day, up to {_length(tariff.half_day_min)}")
        elif tariff.hour is not None:
            beyond = _hours(over, tariff.hour, tariff.hour_step_min)
            yield Way(tariff.half_day + beyond.amount, f"a half-day and {beyond.text}")
    if tariff.day is not None:
        yield Way(tariff.day, "a day")


def _hours(minutes: float, hour: Money, step_min: int) -> Way:
    steps = -int(-minutes // step_min)
    hours = Decimal(steps * step_min) / 60
    return Way(hour.times(hours), f"{hours.normalize():f} h at {hour}")


def _length(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02d} min" if rest else f"{hours} h"
