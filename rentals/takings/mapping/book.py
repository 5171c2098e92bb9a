"""A station's price book as it stood at a moment: which price, tax and season hold on a day."""

from calendar import monthrange
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Final

from rentals.lib.money import Money
from rentals.lib.problems import Refused
from rentals.takings.mapping.pricing import Tariff
from rentals.takings.models import Good, Price, Season, TaxRate, Terms, Unit

WEEK_DAYS: Final = 7


class UnableToQuote(Refused):
    """There is no price for what was asked; the sentence says what to set."""

    slug = "no-price"
    title = "There is no price for that"


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceBook:
    """Terms, goods, seasons, prices and tax rates of a station, known at a moment."""

    terms: Terms
    as_of: datetime
    goods: Mapping[str, Good]
    seasons: Sequence[Season]
    prices: Mapping[int, Sequence[Price]]
    rates: Mapping[int, Sequence[TaxRate]]

    def at(self, as_of: datetime) -> "PriceBook":
        """Return the book as it stood at an earlier moment."""
        return replace(self, as_of=as_of)

    def good(self, code: str) -> Good:
        """Return a good by its code.

        Raises:
            UnableToQuote: none of that code is sold.
        """
        good = self.goods.get(code)
        if good is None or not good.sold:
            raise UnableToQuote.at("good", f"Nothing called {code} is sold here. Choose from the price list.")
        return good

    def usual(self, kind: str) -> Good:
        """Return the good that is meant when only its kind is said.

        Raises:
            UnableToQuote: the station has none.
        """
        for good in self.goods.values():
            if good.kind == kind and good.usual:
                return good
        raise UnableToQuote.at("good", f"Ask a manager to name the usual {kind} in the price list.")

    def season_on(self, day: date) -> Season | None:
        """Return the season that a day lies in."""
        return next((season for season in self.seasons if season.holds(day, self.as_of)), None)

    def price(self, good: Good, unit: str, day: date) -> Price | None:
        """Return the price in force: the season's own before the year's, then the newest."""
        season = self.season_on(day)
        known = [
            price
            for price in self.prices.get(good.pk, ())
            if price.unit == unit and price.valid_from <= day and price.set_at <= self.as_of
        ]
        for wanted in (season.pk, None) if season else (None,):
            mine = [price for price in known if price.season_id == wanted]
            if mine:
                newest = max(mine, key=lambda price: (price.valid_from, price.set_at, price.pk))
                if newest.amount_minor is not None:
                    return newest
        return None

    def amount(self, good: Good, unit: str, day: date) -> Money | None:
        """Return what a unit costs on a day; None where it is not sold so."""
        price = self.price(good, unit, day)
        return None if price is None or price.amount_minor is None else self.terms.money(price.amount_minor)

    def tariff(self, good: Good, day: date) -> Tariff:
        """Return what a time costs on a day."""
        return Tariff(
            hour=self.amount(good, Unit.HOUR, day),
            half_day=self.amount(good, Unit.HALF_DAY, day),
            day=self.amount(good, Unit.DAY, day),
            hour_step_min=self.terms.hour_step_min,
            half_day_min=self.terms.half_day_min,
        )

    def tax_pct(self, good: Good, day: date) -> Decimal:
        """Return the tax rate of a good on a day.

        Raises:
            UnableToQuote: the band has no rate by then.
        """
        rates = [rate for rate in self.rates.get(good.tax_id, ()) if rate.since <= day]
        if not rates:
            raise UnableToQuote.at("good", f"Ask a manager to set the tax rate of {good.name}.")
        return max(rates, key=lambda rate: rate.since).pct


def last_day_of(book: PriceBook, unit: Unit, count: int, first_day: date) -> date:
    """Return the last day of so many days, weeks, months or seasons from a day on.

    A month ends the day before the same day of a later one; where that month is too short, with it. A season
    ends with the season of the first day, or with its year where it lies in none.
    """
    if unit == Unit.MONTH:
        months = first_day.year * 12 + first_day.month - 1 + count
        year, month = divmod(months, 12)
        length = monthrange(year, month + 1)[1]
        if first_day.day > length:
            return date(year, month + 1, length)
        return date(year, month + 1, first_day.day) - timedelta(days=1)
    if unit == Unit.SEASON:
        season = book.season_on(first_day)
        return season.last_day if season else date(first_day.year, 12, 31)
    return first_day + timedelta(days=count * (WEEK_DAYS if unit == Unit.WEEK else 1) - 1)
