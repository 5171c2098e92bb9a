"""Charging a party: outings as they were promised, goods of the list, prices named by staff; taking back."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from rentals.audit import services as journal
from rentals.bookings.models import Outing, Party
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, NotVisible
from rentals.lib.writes import inside_write, write
from rentals.takings import queries
from rentals.takings.mapping import quotes
from rentals.takings.mapping.quotes import Line, Wanted
from rentals.takings.models import Account, Charge, PassUse, Purpose, Terms
from rentals.takings.queries import Cover
from rentals.takings.services.prices import minor_of
from rentals.takings.services.till import About, Till, UnableToTake, open_till, post, tell, visible_party


class ChargedMeanwhile(Conflict):
    """It was charged or taken back by somebody else."""

    slug = "charge-moved-on"
    title = "The account has changed meanwhile"


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """A charge at a price named by staff, such as damage: taxed as the good whose code is given."""

    text: str
    amount: Decimal
    good: str
    why: str


@write
def charge_due(*, actor: Actor, party_id: int, once: UUID | None = None, now: datetime) -> Party:
    """Charge what a party's outings cost and is not charged yet: their time as promised, and late fees.

    Raises:
        NotVisible: no such party here.
        UnableToTake: there is nothing to charge.
        UnableToQuote: an outing has no price.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.CHARGE, station_id=party.station_id, now=now)
    claim = journal.claim(actor=actor, act=Act.CHARGE, key=once, asked=["due", party_id], now=now)
    if claim.result_id is not None:
        return party
    book = queries.price_book(till.terms.station, as_of=now)
    due = queries.due_of(party, book)
    if not due:
        raise UnableToTake("There is nothing more to charge. Reload the page.")
    for each in due:
        if each.cover is not None:
            use_pass(till, each.outing, each.cover)
            continue
        put_charge(till, party, each.line, each.purpose, book.goods[each.line.good].pk, each.outing)
    journal.settle(claim, party.pk)
    return party


@write
def charge_goods(
    *, actor: Actor, party_id: int, wanted: Sequence[Wanted], once: UUID | None = None, now: datetime
) -> Party:
    """Charge goods of today's list: storage, repairs, lessons by the seat.

    Raises:
        NotVisible: no such party here.
        UnableToQuote: no price for one of them.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.CHARGE, station_id=party.station_id, now=now)
    asked = ["goods", party_id, [asdict(each) for each in wanted]]
    claim = journal.claim(actor=actor, act=Act.CHARGE, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return party
    book = queries.price_book(till.terms.station, as_of=now)
    for each in wanted:
        line = quotes.line_of(book, each)
        put_charge(till, party, line, Purpose.GOODS, book.goods[line.good].pk)
    journal.settle(claim, party.pk)
    return party


@write
def charge_named(
    *, actor: Actor, party_id: int, named: Named, once: UUID | None = None, now: datetime
) -> Charge:
    """Charge a price that staff name, such as for damage, with the reason.

    Raises:
        NotVisible: no such party here.
        UnableToTake: no text, no reason, or an amount that cannot be.
        UnableToQuote: no such good to take the tax from.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.CHARGE, station_id=party.station_id, now=now)
    asked = ["named", party_id, asdict(named)]
    claim = journal.claim(actor=actor, act=Act.CHARGE, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Charge.objects.get(pk=claim.result_id)
    if not named.text.strip():
        raise UnableToTake.at("text", "Enter what it is for.")
    if not named.why.strip():
        raise UnableToTake.at("why", "Enter why it costs that, for whoever asks later.")
    amount = till.money(minor_of(named.amount, till.terms.currency, "amount"))
    if not amount:
        raise UnableToTake.at("amount", "Enter an amount above nothing.")
    book = queries.price_book(till.terms.station, as_of=now)
    good = book.good(named.good)
    line = quotes.free_line(book, good, named.text.strip()[:120], amount, till.day, named.why.strip())
    charge = put_charge(till, party, line, Purpose.NAMED, good.pk)
    journal.settle(claim, charge.pk)
    return charge


@write
def take_back_charge(
    *, actor: Actor, charge_id: int, why: str, once: UUID | None = None, now: datetime
) -> Charge:
    """Take a charge back whole by a contra charge; both stay on the account.

    Raises:
        NotVisible: no such charge here.
        UnableToTake: no reason.
        ChargedMeanwhile: it was taken back already, or takes another back itself.
    """
    charge = visible_charge(actor, charge_id)
    till = open_till(actor=actor, act=Act.REFUND, station_id=charge.station_id, now=now)
    asked = ["take back", charge_id, why]
    claim = journal.claim(actor=actor, act=Act.REFUND, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Charge.objects.get(pk=claim.result_id)
    taken = contra(till, charge, why)
    journal.settle(claim, taken.pk)
    return taken


@inside_write
def charge_extension(
    *, actor: Actor, act: Act, outing: Outing, ends_at: datetime, now: datetime
) -> Charge | None:
    """Charge what a later end of an outing costs more, inside the write that extends it, before it is moved.

    A pass that paid for the outing pays for its extension too, as far as it has the minutes. Nothing is
    charged where the station has no prices, or the outing's time is not charged yet: it will be, whole. A
    missing price keeps nobody from staying out.

    Args:
        actor: who extends, asked for `act` by the caller too.
        act: what the caller does.
        outing: with station, booking and its party joined; its end not moved yet.
        ends_at: the new end, aware.
        now: the moment.
    """
    if not Terms.objects.filter(station_id=outing.station_id).exists():
        return None
    till = open_till(actor=actor, act=act, station_id=outing.station_id, now=now)
    minutes = round((ends_at - outing.ends_at).total_seconds() / 60)
    paid_ahead = PassUse.objects.filter(outing=outing, gives_back=None, given_back=None).exists()
    if not (paid_ahead or Charge.objects.filter(outing=outing, purpose=Purpose.TIME).standing().exists()):
        return None
    if paid_ahead and (cover := queries.cover_more(outing, minutes)):
        use_pass(till, outing, cover)
        return None
    try:
        quote = queries.quote_extension(outing, ends_at=ends_at)
    except queries.UnableToQuote:
        return None
    (line,) = quote.lines
    if not line.total:
        return None
    book = queries.price_book(outing.station, as_of=now)
    return put_charge(till, outing.booking.party, line, Purpose.EXTENSION, book.goods[line.good].pk, outing)


@inside_write
def put_charge(
    till: Till, party: Party, line: Line, purpose: Purpose, good_id: int, outing: Outing | None = None
) -> Charge:
    """Put one line on a party's account and post it."""
    charge = Charge.objects.create(
        station_id=till.station_id,
        party=party,
        outing=outing,
        good_id=good_id,
        purpose=purpose,
        text=(f"{line.text}, {outing.rider}" if outing else line.text)[:120],
        **line.charged(),
        day=till.day,
        at=till.now,
        by_id=till.actor.user_id,
    )
    _post_charge(till, charge)
    tell(till, "party", party.pk, f"Charged {charge.text}: {charge.gross}")
    return charge


@inside_write
def use_pass(till: Till, outing: Outing, cover: Cover) -> None:
    """Take an outing's minutes from the pass that covers it."""
    PassUse.objects.create(
        held=cover.held, outing=outing, minutes=cover.minutes, at=till.now, by_id=till.actor.user_id
    )
    tell(till, "rider", outing.rider_id, f"{cover.minutes} min on pass {cover.held.pk}")


@inside_write
def give_back(till: Till, use: PassUse) -> None:
    """Give the minutes that an outing took back to their pass, whole."""
    PassUse.objects.create(
        held_id=use.held_id,
        outing_id=use.outing_id,
        minutes=-use.minutes,
        at=till.now,
        by_id=till.actor.user_id,
        gives_back=use,
    )


@inside_write
def contra(till: Till, charge: Charge, why: str) -> Charge:
    """Take a charge back whole.

    Raises:
        UnableToTake: no reason.
        ChargedMeanwhile: it was taken back already, or takes another back itself.
    """
    if not why.strip():
        raise UnableToTake.at("why", "Enter why it is taken back.")
    if charge.reverses_id is not None or Charge.objects.filter(reverses=charge).exists():
        raise ChargedMeanwhile("That charge was taken back already. Reload the page.")
    taken = Charge.objects.create(
        station_id=charge.station_id,
        party_id=charge.party_id,
        outing_id=charge.outing_id,
        good_id=charge.good_id,
        purpose=charge.purpose,
        text=f"Taken back: {charge.text}"[:120],
        count=charge.count,
        each_minor=-charge.each_minor,
        gross_minor=-charge.gross_minor,
        tax_pct=charge.tax_pct,
        tax_minor=-charge.tax_minor,
        currency=charge.currency,
        why=why.strip()[:300],
        day=till.day,
        at=till.now,
        by_id=till.actor.user_id,
        reverses=charge,
    )
    _post_charge(till, taken)
    tell(till, "party", charge.party_id, f"Took back {charge.text}: {charge.gross}. {why.strip()}")
    return taken


def visible_charge(actor: Actor, charge_id: int) -> Charge:
    """Return a charge that the actor may see.

    Raises:
        NotVisible: there is none for this actor.
    """
    charge = Charge.objects.visible_to(actor).select_related("party").filter(pk=charge_id).first()
    if charge is None:
        raise NotVisible("There is no such charge here.")
    return charge


@inside_write
def _post_charge(till: Till, charge: Charge) -> None:
    about = About(party=charge.party, charge=charge)
    post(till, Account.PARTY, Account.SALES, charge.gross - charge.tax, charge.text, about)
    post(till, Account.PARTY, Account.TAX, charge.tax, f"Tax in {charge.text}", about)
