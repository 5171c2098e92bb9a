"""How values are shown: template filters for winds, lengths, spans and states, the unit always printed."""

from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Final

from django import template
from django.urls import get_script_prefix, reverse
from django.utils import timezone
from django.utils.dateformat import format as date_format

from rentals.lib.money import Money
from rigging.units import COMPASS_POINTS, INCH_CM, POINT_DEG, TO_SI
from rigging.wind import beaufort

register = template.Library()

MISSING = "–"
INCHES_PER_FOOT: Final = 12


@dataclass(frozen=True, slots=True)
class Units:
    """The units in which somebody reads winds, masses and lengths; what is stored stays SI."""

    wind: str = "kn"
    mass: str = "kg"
    length: str = "cm"

    @classmethod
    def read(cls, written: str) -> "Units":
        """Return units as a cookie keeps them, `kn kg cm`; the usual ones where it says none we know."""
        said = written.split()
        known = len(said) == len(CHOICES) and all(
            each in choices for each, choices in zip(said, CHOICES.values(), strict=True)
        )
        return cls(*said) if known else cls()

    def written(self) -> str:
        """Return them as a cookie keeps them."""
        return f"{self.wind} {self.mass} {self.length}"


CHOICES: Final = {
    "wind": ("kn", "m/s", "km/h", "Bft"),
    "mass": ("kg", "lb"),
    "length": ("cm", "ft-in"),
}
USUAL: Final = Units()
_units: ContextVar[Units] = ContextVar("units", default=USUAL)


def use(units: Units) -> None:
    """Show everything in these units from now on: called once per request, at the door."""
    _units.set(units)


def used() -> Units:
    """Return the units in which the person reads."""
    return _units.get()


@register.simple_tag
def path(name: str, *args: object) -> str:
    """Return the address of a page as `url` does, remembered: a list names the same ones over and over."""
    return _path(get_script_prefix(), name, args)


@lru_cache(maxsize=8192)
def _path(_prefix: str, name: str, args: tuple[object, ...]) -> str:
    return reverse(name, args=args)


@register.filter
def kn(wind_ms: float | None) -> str:
    """Show a wind in the reader's unit: whole knots unless they chose another."""
    if wind_ms is None:
        return MISSING
    unit = used().wind
    if unit == "Bft":
        return f"{beaufort(wind_ms)} Bft"
    return f"{wind_ms / TO_SI[unit]:.{1 if unit == 'm/s' else 0}f} {unit}"


@register.filter
def mass(mass_kg: float | Decimal | None) -> str:
    """Show a mass in the reader's unit."""
    if mass_kg is None:
        return MISSING
    return f"{num(float(mass_kg))} kg" if used().mass == "kg" else f"{float(mass_kg) / TO_SI['lb']:.0f} lb"


@register.filter
def stature(stature_cm: float | None) -> str:
    """Show a person's length in the reader's unit."""
    if stature_cm is None:
        return MISSING
    if used().length == "cm":
        return f"{stature_cm:.0f} cm"
    feet, inches = divmod(round(stature_cm / INCH_CM), INCHES_PER_FOOT)
    return f"{feet} ft {inches} in"


@register.filter
def inches(length_cm: float | None) -> str:
    """Show a length of kit in inches too, for who reads in feet; kit is marked in centimetres."""
    if length_cm is None or used().length == "cm":
        return ""
    return f" ({length_cm / INCH_CM:.1f} in)"


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
    """Show a day without ambiguity, in the reader's language: Wed 25 Nov 2026."""
    if moment is None:
        return MISSING
    local = timezone.localtime(moment) if isinstance(moment, datetime) else moment
    return date_format(local, "D j M Y")


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
