"""The till: one lock per station for whatever moves money, the day it counts for, posting to the ledger."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Max

from rentals.audit import services as journal
from rentals.bookings.models import Party
from rentals.lib.access import Act, Actor, System
from rentals.lib.money import Money
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.writes import inside_write
from rentals.takings.models import Account, Charge, DayClose, LedgerEntry, Payment, Terms, Voucher


class UnableToTake(Refused):
    """A charge, payment or credit does not hold together; fields say where."""

    slug = "takings-refused"
    title = "Check the amount"


@dataclass(frozen=True, slots=True, kw_only=True)
class Till:
    """A station's till, locked until the write ends, and the day that its takings count for."""

    actor: Actor
    act: Act | System
    terms: Terms
    day: date
    now: datetime

    @property
    def station_id(self) -> int:
        """Whose till it is."""
        return self.terms.station_id

    def money(self, minor: int) -> Money:
        """Return minor units in the station's currency."""
        return self.terms.money(minor)


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What a ledger entry belongs to."""

    party: Party | None = None
    charge: Charge | None = None
    payment: Payment | None = None
    voucher: Voucher | None = None


def visible_party(actor: Actor, party_id: int) -> Party:
    """Return a party that the actor may see.

    Raises:
        NotVisible: there is none for this actor.
    """
    party = Party.objects.filter(station_id__in=actor.station_ids, pk=party_id).first()
    if party is None:
        raise NotVisible("There is no such party here.")
    return party


@inside_write
def open_till(*, actor: Actor, act: Act | System, station_id: int, now: datetime) -> Till:
    """Ask for the act and lock the station's till, so that whoever moves money there waits for the other.

    What is taken after the day was closed counts for the next day.

    Raises:
        UnableToTake: the station has no money terms yet.
    """
    if isinstance(act, System):
        actor.require_system(act)
    else:
        actor.require(act, station_id=station_id)
    terms = Terms.objects.select_for_update(of=("self",)).filter(station_id=station_id).first()
    if terms is None:
        raise UnableToTake("The station has no prices yet. Ask a manager to set them under Takings.")
    closed = DayClose.objects.filter(station_id=station_id).aggregate(last=Max("day"))["last"]
    day = terms.station.local(now).date()
    if closed is not None:
        day = max(day, closed + timedelta(days=1))
    return Till(actor=actor, act=act, terms=terms, day=day, now=now)


@inside_write
def post(till: Till, debit: Account, credit: Account, amount: Money, text: str, about: About) -> None:
    """Post an amount from one account to another; a negative one goes the other way, none is no entry."""
    if amount.minor < 0:
        debit, credit, amount = credit, debit, -amount
    if not amount:
        return
    LedgerEntry.objects.create(
        station_id=till.station_id,
        day=till.day,
        at=till.now,
        debit=debit,
        credit=credit,
        amount_minor=amount.minor,
        currency=amount.currency,
        text=text[:160],
        party=about.party,
        charge=about.charge,
        payment=about.payment,
        voucher=about.voucher,
        by_id=till.actor.user_id,
    )


@inside_write
def tell(till: Till, kind: str, subject_id: int, text: str) -> None:
    """Write what was done into the journal."""
    line = journal.Line(kind, subject_id, text)
    journal.record(actor=till.actor, act=till.act, station_id=till.station_id, lines=[line], now=till.now)
