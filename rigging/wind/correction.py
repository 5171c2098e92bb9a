"""A forecast put right by what the beach has measured since."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from rigging.reason import Input, Reason
from rigging.units import knots
from rigging.wind.air import FASTEST_MS
from rigging.wind.hours import FORECAST_LN_SD, Hour, aware

BIAS_HOURS: Final = 6.0  # h; how long a forecast's error lasts; policy, checked on buoy data
MEASURED_LN_SD: Final = 0.15  # ln; what one measurement says of the hour around it; policy
MEASURED_SD_MS: Final = 0.5  # m/s; instrument and rounding; policy
WIDEST_FACTOR: Final = 2.0  # a forecast is at most doubled or halved; policy
FLOOR_MS: Final = 1.0  # m/s; below it a ratio of two winds says nothing; policy


@dataclass(frozen=True, slots=True)
class Correction:
    """A forecast put right: its hours, and the bias found.

    `ln_bias` is measured over forecast in ln speed at the last measurement, `ln_variance` the variance
    of that estimate. Each hour carries the spread of its own error in `ln_sd`.
    """

    hours: tuple[Hour, ...]
    ln_bias: float
    ln_variance: float
    reason: Reason


def corrected(hours: Sequence[Hour], observed: Sequence[Hour], now: datetime) -> Correction:
    """Return the forecast `hours` put right by the `observed` ones that have ended by `now`.

    Args:
        hours: the forecast, 10 m wind.
        observed: measurements brought to 10 m (`at_ten_metres`); later ones than `now` are not seen.
        now: zoned.

    Raises:
        BadValue: for a naive `now`.

    Notes:
        A scalar Kalman filter of ln(measured / forecast), whose truth is a mean-reverting walk with
        standard deviation `FORECAST_LN_SD` and memory `BIAS_HOURS`. Ahead, the bias fades with that
        memory and reaches none as far ahead as the measurements reach back; hours past are left alone.
    """
    now = aware("now", now)
    seen = sorted((o for o in observed if o.end <= now), key=lambda o: o.end)
    pairs = [(o, f) for o in seen if (f := _covering(hours, _middle(o))) is not None]
    bias, variance = _filtered(pairs)
    if not pairs:
        text = "Nothing has been measured within the forecast's hours, so it stands as it is."
        return Correction(tuple(hours), bias, variance, Reason(text, _RULE, "the forecast"))
    last = _middle(pairs[-1][0])
    reach_h = _hours_between(pairs[0][0].start, now)
    put_right = tuple(
        hour if hour.end <= now else _put_right(hour, bias, variance, _fade(hour, now, last, reach_h))
        for hour in hours
    )
    return Correction(put_right, bias, variance, _reason(pairs, bias, variance, reach_h))


_RULE: Final = "scalar filter of ln(measured / forecast), fading to the forecast"


def _middle(hour: Hour) -> datetime:
    return hour.start + timedelta(minutes=hour.minutes / 2)


def _hours_between(earlier: datetime, later: datetime) -> float:
    return max((later - earlier).total_seconds() / 3600, 0.0)


def _covering(hours: Sequence[Hour], moment: datetime) -> Hour | None:
    inside = [hour for hour in hours if hour.start <= moment < hour.end]
    return min(inside, key=lambda hour: hour.minutes, default=None)


def _filtered(pairs: Sequence[tuple[Hour, Hour]]) -> tuple[float, float]:
    prior = FORECAST_LN_SD**2
    bias, variance = 0.0, prior
    before: datetime | None = None
    for measured, forecast in pairs:
        moment = _middle(measured)
        memory = 1.0 if before is None else math.exp(-_hours_between(before, moment) / BIAS_HOURS)
        bias, variance = bias * memory, variance * memory**2 + prior * (1 - memory**2)
        base = max(forecast.mean_ms, FLOOR_MS)
        noise = MEASURED_LN_SD**2 + (MEASURED_SD_MS / base) ** 2
        gain = variance / (variance + noise)
        bias += gain * (math.log(max(measured.mean_ms, FLOOR_MS) / base) - bias)
        variance *= 1 - gain
        before = moment
    limit = math.log(WIDEST_FACTOR)
    return min(max(bias, -limit), limit), variance


def _fade(hour: Hour, now: datetime, last: datetime, reach_h: float) -> float:
    # From the later of now and the hour's start: the hour under way is corrected in full.
    begins = max(hour.start, now)
    ahead = _hours_between(now, begins)
    memory = math.exp(-_hours_between(last, begins) / BIAS_HOURS)
    return memory * max(0.0, 1 - ahead / reach_h) if reach_h > 0 else 0.0


def _put_right(hour: Hour, bias: float, variance: float, fade: float) -> Hour:
    if fade == 0:
        return hour
    factor = math.exp(bias * fade)
    gust = None if hour.gust_ms is None else min(hour.gust_ms * factor, FASTEST_MS)
    spread = math.sqrt(variance * fade**2 + hour.ln_sd**2 * (1 - fade**2))
    source = f"{hour.source}, put right by the beach".lstrip(", ")
    return replace(
        hour, mean_ms=min(hour.mean_ms * factor, FASTEST_MS), gust_ms=gust, ln_sd=spread, source=source
    )


def _reason(pairs: Sequence[tuple[Hour, Hour]], bias: float, variance: float, reach_h: float) -> Reason:
    measured, forecast = pairs[-1]
    text = (
        f"The beach last measured {knots(measured.mean_ms):.0f} kn where {knots(forecast.mean_ms):.0f} kn "
        f"was forecast; over {len(pairs)} measurements the wind is {100 * (math.exp(bias) - 1):+.0f} % "
        f"(± {100 * math.sqrt(variance):.0f} %). The correction fades out over {reach_h:.1f} h."
    )
    inputs = (Input("bias", bias, "ln"), Input("variance", variance, "ln²"), Input("reach", reach_h, "h"))
    return Reason(text, _RULE, "the forecast and the beach anemometer", inputs)
