"""How values are shown: template filters for winds, lengths, spans and states, the unit always printed."""

from datetime import date, datetime

from django import template
from django.utils import timezone

from rentals.lib.money import Money
from rigging.units import COMPASS_POINTS, POINT_DEG, knots

register = template.Library()

MISSING = "–"


@register.filter
def kn(wind_ms: float | None) -> str:
    """Show a wind in whole knots."""
    return MISSING if wind_ms is None else f"{knots(wind_ms):.0f} kn"


@register.filter
def num(value: float | None, digits: int = 1) -> str:
    """Show a number with at most so many decimals and no idle zeros."""
    if value is None:
        return MISSING
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


@register.filter
def per_thousand(share: float | None) -> str:
    """Show a share or rate of one as so many per thousand, to two digits."""
    return MISSING if share is None else f"{float(f'{1000 * share:.2g}'):,.12g}"


@register.filter
def percent(share: float | None) -> str:
    """Show a share of one in whole percent."""
    return MISSING if share is None else f"{100 * share:.0f} %"


@register.filter
def clock(moment: datetime | None) -> str:
    """Show a moment as the clock on the station's wall."""
    return MISSING if moment is None else f"{timezone.localtime(moment):%H:%M}"


@register.filter
def day(moment: datetime | date | None) -> str:
    """Show a day without ambiguity: Wed 25 Nov 2026."""
    if moment is None:
        return MISSING
    local = timezone.localtime(moment) if isinstance(moment, datetime) else moment
    return f"{local:%a} {local.day} {local:%b %Y}"


@register.filter
def day_clock(moment: datetime | None) -> str:
    """Show a day and time: Wed 25 Nov 2026, 14:05."""
    return MISSING if moment is None else f"{day(moment)}, {clock(moment)}"


@register.filter
def hours(seconds: float | None) -> str:
    """Show a duration in hours and minutes."""
    if seconds is None:
        return MISSING
    whole = round(seconds / 60)
    return f"{whole // 60} h {whole % 60:02d} min" if whole >= 60 else f"{whole} min"


@register.filter
def words(value: str) -> str:
    """Show a state or kind as words: held_back becomes held back."""
    return str(value).replace("_", " ")


@register.filter
def compass(degrees: float | None) -> str:
    """Show where the wind comes from, in sixteen points."""
    if degrees is None:
        return "variable"
    return COMPASS_POINTS[round(degrees / POINT_DEG) % len(COMPASS_POINTS)]


@register.filter
def money(amount: Money | None) -> str:
    """Show an amount with its currency before it, kept on one line: EUR 12.50."""
    if amount is None:
        return MISSING
    sign = "−" if amount.minor < 0 else ""
    return f"{sign}{amount.currency}\u00a0{abs(amount.amount):,}"
