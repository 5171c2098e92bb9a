"""Passes sold to a rider by the list: a season card, a week, a season."""

from datetime import date, datetime, timedelta
from uuid import UUID

from rentals.audit import services as journal
from rentals.lib.access import Act, Actor
from rentals.lib.writes import write
from rentals.people.models import Rider
from rentals.takings import queries
from rentals.takings.mapping import quotes
from rentals.takings.mapping.book import PriceBook, last_day_of
from rentals.takings.mapping.quotes import Wanted
from rentals.takings.models import AHEAD, Good, Pass, Purpose, Unit
from rentals.takings.services.charging import put_charge
from rentals.takings.services.till import Till, UnableToTake, open_till, tell, visible_party


@write
def sell_pass(
    *,
    actor: Actor,
    party_id: int,
    rider_id: int,
    good: str,
    unit: str,
    first_day: date,
    once: UUID | None = None,
    now: datetime,
) -> Pass:
    """Sell a rider a season card, a week or a season, charged to a party. Its tax falls due with the sale.

    A card holds its hours until the station's credits lapse; a week has seven days; a season ends with it, or
    with the year where the day lies in none.

    Raises:
        NotVisible: no such party here.
        UnableToTake: no rider known here, or nothing that is sold ahead.
        UnableToQuote: the list has no price for it.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.CHARGE, station_id=party.station_id, now=now)
    asked = ["pass", party_id, rider_id, good, unit, first_day]
    claim = journal.claim(actor=actor, act=Act.CHARGE, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Pass.objects.get(pk=claim.result_id)
    rider = Rider.objects.filter(station_id=till.station_id, pk=rider_id).first()
    if rider is None:
        raise UnableToTake.at("rider_id", "Choose a rider known here.")
    book = queries.price_book(till.terms.station, as_of=now)
    sold = book.good(good)
    if unit not in AHEAD or sold.kind != Good.Kind.RENTAL:
        raise UnableToTake.at("unit", "Choose a season card, a week or a season of a rental.")
    line = quotes.line_of(book, Wanted(good=good, unit=unit, day=first_day))
    charge = put_charge(till, party, line, Purpose.GOODS, sold.pk)
    price = book.price(sold, unit, first_day)
    hours = price.card_hours if price else None
    held = Pass.objects.create(
        station_id=till.station_id,
        rider=rider,
        charge=charge,
        minutes=None if hours is None else hours * 60,
        first_day=first_day,
        last_day=_last_day(till, book, Unit(unit), first_day),
        sold_at=now,
    )
    tell(till, "rider", rider.pk, f"{line.text} until {held.last_day}")
    journal.settle(claim, held.pk)
    return held


def _last_day(till: Till, book: PriceBook, unit: Unit, first_day: date) -> date:
    if unit == Unit.CARD:
        return first_day + timedelta(days=till.terms.credit_days)
    return last_day_of(book, unit, 1, first_day)
