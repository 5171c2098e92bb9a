"""The price book of a station, and what it asks for a party's wishes."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from rentals.bookings.models import Outing
from rentals.lib.money import Money
from rentals.stations.models import Station
from rentals.takings.mapping import quotes
from rentals.takings.mapping.book import PriceBook, UnableToQuote
from rentals.takings.mapping.quotes import Line, Quote, Wanted
from rentals.takings.models import Good, Price, Season, TaxRate, Terms, Unit

MOST_SET = 60
"""How many rows of the price list its page shows as they were set. Status: policy."""


@dataclass(frozen=True, slots=True)
class ListRow:
    """A good of the price list and what its units cost on a day, the hours of a card beside them."""

    good: Good
    prices: tuple[tuple[Unit, Money], ...]
    card_hours: int | None


@dataclass(frozen=True, slots=True)
class PriceSet:
    """A row of the price list as it was set; no amount took the unit off the list."""

    price: Price
    amount: Money | None


def price_book(station: Station, *, as_of: datetime) -> PriceBook:
    """Return the price book of a station as it stood at a moment: three queries.

    Raises:
        UnableToQuote: the station has no money terms yet.
    """
    terms = Terms.objects.select_related("station", "set_by").filter(station=station).first()
    if terms is None:
        raise UnableToQuote(f"{station.name} has no prices yet. Ask a manager to set them under Takings.")
    terms.station = station
    known = Price.objects.filter(good__station=station, set_at__lte=as_of).select_related("good", "season")
    prices: defaultdict[int, list[Price]] = defaultdict(list)
    for price in known.order_by("good__kind", "good__name", "good_id", "id"):
        prices[price.good_id].append(price)
    rates: defaultdict[int, list[TaxRate]] = defaultdict(list)
    for rate in TaxRate.objects.filter(tax__station=station):
        rates[rate.tax_id].append(rate)
    rows = [price for listed in prices.values() for price in listed]
    return PriceBook(
        terms=terms,
        as_of=as_of,
        goods={price.good.code: price.good for price in rows},
        seasons=tuple({price.season.pk: price.season for price in rows if price.season}.values()),
        prices=prices,
        rates=rates,
    )


def quote(station: Station, wanted: Sequence[Wanted], *, as_of: datetime) -> Quote:
    """Return what a party's wishes cost, each line frozen with its reasons: three queries.

    Args:
        station: where.
        wanted: what, in the order of the lines.
        as_of: the moment whose price list holds: now for a new booking, that of the booking later.

    Raises:
        UnableToQuote: there is no price for one of them; `wanted.N.name` names its field.
    """
    book = price_book(station, as_of=as_of)
    lines = tuple(_line_of(book, each, number) for number, each in enumerate(wanted))
    return Quote(currency=book.terms.currency, as_of=as_of, lines=lines)


def quote_each(station: Station, wanted: Sequence[Wanted], *, as_of: datetime) -> list[Line | None]:
    """Return what each of several wishes costs by itself, None where there is no price: three queries."""
    try:
        book = price_book(station, as_of=as_of)
    except UnableToQuote:
        return [None] * len(wanted)
    return [_line_or_none(book, each) for each in wanted]


def quote_booking(
    station: Station,
    *,
    kind: str,
    riders: int,
    starts_at: datetime,
    ends_at: datetime,
    as_of: datetime,
    good: str = "",
) -> Quote:
    """Return what a booking costs, by the usual good of its kind unless one is named: three queries.

    Raises:
        UnableToQuote: there is no price for it.
    """
    book = price_book(station, as_of=as_of)
    wanted = Wanted(kind=kind, good=good, count=riders, starts_at=starts_at, ends_at=ends_at)
    return Quote(currency=book.terms.currency, as_of=as_of, lines=(quotes.line_of(book, wanted),))


def quote_extension(outing: Outing, *, ends_at: datetime) -> Quote:
    """Return what a later end of an outing costs more, by the list of its booking: three queries.

    Args:
        outing: with its station and booking joined.
        ends_at: the new end, aware.

    Raises:
        UnableToQuote: there is no price for it.
    """
    as_of = outing.booking.booked_at
    book = price_book(outing.station, as_of=as_of)
    good = book.usual(outing.booking.kind)
    line = quotes.extension(book, good, 1, outing.starts_at, old=outing.ends_at, new=ends_at)
    return Quote(currency=book.terms.currency, as_of=as_of, lines=(line,))


def price_list(station: Station, day: date, *, as_of: datetime) -> tuple[ListRow, ...]:
    """Return the goods that are sold on a day with the prices in force: three queries.

    Raises:
        UnableToQuote: the station has no money terms yet.
    """
    book = price_book(station, as_of=as_of)
    return tuple(_row(book, good, day) for good in book.goods.values() if good.sold)


def prices_set(station: Station) -> list[PriceSet]:
    """Return the newest rows of the price list, as they were set: two queries."""
    terms = Terms.objects.filter(station=station).first()
    if terms is None:
        return []
    known = Price.objects.filter(good__station=station).select_related("good", "season", "set_by")
    return [
        PriceSet(each, None if each.amount_minor is None else terms.money(each.amount_minor))
        for each in known.order_by("-set_at", "-id")[:MOST_SET]
    ]


def price_as_set(price: Price) -> PriceSet:
    """Return a row of the price list with its amount: three queries at most."""
    terms = Terms.objects.get(station_id=price.good.station_id)
    return PriceSet(price, None if price.amount_minor is None else terms.money(price.amount_minor))


def seasons_at(station: Station) -> list[Season]:
    """Return a station's seasons that were not dropped, by their first day: one query."""
    return list(Season.objects.filter(station=station, dropped_at=None).order_by("first_day"))


def _line_of(book: PriceBook, wanted: Wanted, number: int) -> Line:
    """Return a line; a refusal says which one it is about."""
    try:
        return quotes.line_of(book, wanted)
    except UnableToQuote as refused:
        fields = {f"wanted.{number}.{name}": said for name, said in refused.fields.items()}
        raise UnableToQuote(refused.sentence, fields=fields) from refused


def _line_or_none(book: PriceBook, wanted: Wanted) -> Line | None:
    try:
        return quotes.line_of(book, wanted)
    except UnableToQuote:
        return None


def _row(book: PriceBook, good: Good, day: date) -> ListRow:
    prices = [(unit, book.amount(good, unit, day)) for unit in Unit]
    card = book.price(good, Unit.CARD, day)
    return ListRow(
        good=good,
        prices=tuple((unit, amount) for unit, amount in prices if amount is not None),
        card_hours=card.card_hours if card else None,
    )
