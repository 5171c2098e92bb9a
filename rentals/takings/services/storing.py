"""Storing riders' own kit: charged by the list for its days, and noted when it is fetched."""

from datetime import date, datetime
from uuid import UUID

from rentals.audit import services as journal
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, NotVisible
from rentals.lib.writes import write
from rentals.takings import queries
from rentals.takings.mapping import quotes
from rentals.takings.mapping.book import last_day_of
from rentals.takings.mapping.quotes import Wanted
from rentals.takings.models import STORED_BY, Good, Purpose, Stored, Unit
from rentals.takings.services.charging import put_charge
from rentals.takings.services.till import UnableToTake, open_till, tell, visible_party

LONGEST_WHAT = 60


class FetchedMeanwhile(Conflict):
    """The kit was fetched already."""

    slug = "stored-fetched"
    title = "That was fetched already"


@write
def store_kit(
    *,
    actor: Actor,
    party_id: int,
    good: str,
    unit: str,
    count: int,
    first_day: date,
    what: str,
    once: UUID | None = None,
    now: datetime,
) -> Stored:
    """Take own kit of a party into the racks for so many days, weeks, months, or a season, and charge it.

    Raises:
        NotVisible: no such party here.
        UnableToTake: no word on what it is, no unit of storage, or more than one season.
        UnableToQuote: the list has no price for it.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.CHARGE, station_id=party.station_id, now=now)
    asked = ["store", party_id, good, unit, count, first_day, what]
    claim = journal.claim(actor=actor, act=Act.CHARGE, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Stored.objects.get(pk=claim.result_id)
    if not what.strip():
        raise UnableToTake.at("what", "Enter which kit, so that it is found again.")
    book = queries.price_book(till.terms.station, as_of=now)
    sold = book.good(good)
    if unit not in STORED_BY or sold.kind != Good.Kind.STORAGE:
        raise UnableToTake.at("unit", "Choose a day, week, month or season of storage.")
    if unit == Unit.SEASON and count != 1:
        raise UnableToTake.at("count", "A season is stored once. Enter 1.")
    line = quotes.line_of(book, Wanted(good=good, unit=unit, count=count, day=first_day))
    charge = put_charge(till, party, line, Purpose.GOODS, sold.pk)
    stored = Stored.objects.create(
        station_id=till.station_id,
        party=party,
        charge=charge,
        what=what.strip()[:LONGEST_WHAT],
        first_day=first_day,
        last_day=last_day_of(book, Unit(unit), count, first_day),
    )
    tell(till, "party", party.pk, f"Stored until {stored.last_day}: {stored}")
    journal.settle(claim, stored.pk)
    return stored


@write
def fetch_kit(*, actor: Actor, stored_id: int, now: datetime) -> Stored:
    """Note that stored kit was fetched.

    Raises:
        NotVisible: no such thing is stored here.
        FetchedMeanwhile: it was fetched already.
    """
    stored = Stored.objects.filter(station_id__in=actor.station_ids, pk=stored_id).first()
    if stored is None:
        raise NotVisible("There is no such thing stored here.")
    actor.require(Act.ISSUE, station_id=stored.station_id)
    fetched = Stored.objects.filter(pk=stored.pk, fetched_at=None)
    if not fetched.update(fetched_at=now, fetched_by_id=actor.user_id):
        raise FetchedMeanwhile("That was fetched already. Reload the page.")
    stored.refresh_from_db()
    line = journal.Line("party", stored.party_id, f"Fetched: {stored}")
    journal.record(actor=actor, act=Act.ISSUE, station_id=stored.station_id, lines=[line], now=now)
    return stored
