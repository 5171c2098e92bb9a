"""Payments, refunds and damage excess, recorded and not processed; each with its numbered receipt."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db.models import Max

from rentals.audit import services as journal
from rentals.bookings.models import Party
from rentals.lib.access import Act, Actor
from rentals.lib.money import Money
from rentals.lib.writes import inside_write, write
from rentals.takings import queries
from rentals.takings.mapping.papers import paper
from rentals.takings.models import INTO, Account, Charge, Method, Payment, Receipt, ReceiptLine
from rentals.takings.services.prices import UnableToPrice, minor_of
from rentals.takings.services.till import About, Till, UnableToTake, open_till, post, tell, visible_party


@dataclass(frozen=True, slots=True, kw_only=True)
class Paid:
    """Money that changes hands: how much, how, and a note such as the slip's number."""

    amount: Decimal
    method: str
    note: str = ""


@write
def take_payment(
    *, actor: Actor, party_id: int, paid: Paid, once: UUID | None = None, now: datetime
) -> Payment:
    """Record money that a party paid, on booking or later, and give the receipt its number.

    The receipt carries every charge that stands on none yet. Paying ahead leaves the party in credit.

    Raises:
        NotVisible: no such party here.
        UnableToTake: no amount or method.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.TAKE_PAYMENT, station_id=party.station_id, now=now)
    return _once(till, party, paid, False, 1, once)


@write
def refund(*, actor: Actor, party_id: int, paid: Paid, once: UUID | None = None, now: datetime) -> Payment:
    """Record money paid back to a party that has paid too much.

    Raises:
        NotVisible: no such party here.
        UnableToTake: no reason, or more than the party is in credit.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.REFUND, station_id=party.station_id, now=now)
    return _once(till, party, paid, False, -1, once)


@write
def hold_excess(
    *, actor: Actor, party_id: int, paid: Paid, once: UUID | None = None, now: datetime
) -> Payment:
    """Record a damage excess that is held for a party until its kit is back.

    Raises:
        NotVisible: no such party here.
        UnableToTake: no amount or method.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.TAKE_PAYMENT, station_id=party.station_id, now=now)
    return _once(till, party, paid, True, 1, once)


@write
def return_excess(
    *, actor: Actor, party_id: int, paid: Paid, once: UUID | None = None, now: datetime
) -> Payment:
    """Record damage excess paid back, at most what is held.

    Raises:
        NotVisible: no such party here.
        UnableToTake: more than is held.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.TAKE_PAYMENT, station_id=party.station_id, now=now)
    return _once(till, party, paid, True, -1, once)


@write
def keep_excess(
    *, actor: Actor, party_id: int, amount: Decimal, once: UUID | None = None, now: datetime
) -> Party:
    """Let damage excess pay for what a party owes, such as the damage that was charged.

    Raises:
        NotVisible: no such party here.
        UnableToTake: more than is held, or than the party owes.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.TAKE_PAYMENT, station_id=party.station_id, now=now)
    asked = ["keep", party_id, amount]
    claim = journal.claim(actor=actor, act=Act.TAKE_PAYMENT, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return party
    money = amount_of(till, amount)
    _refuse_more(money, till.money(-queries.party_balance(party, Account.EXCESS)), "held")
    _refuse_more(money, till.money(queries.party_balance(party)), "owed")
    about = About(party=party)
    post(till, Account.EXCESS, Account.PARTY, money, "Damage excess kept for what is owed", about)
    tell(till, "party", party.pk, f"Kept {money} of the damage excess")
    journal.settle(claim, party.pk)
    return party


@inside_write
def _once(till: Till, party: Party, paid: Paid, excess: bool, sign: int, once: UUID | None) -> Payment:
    """Record a payment unless its key was used, refused where it pays back more than there is."""
    asked = [party.pk, paid.amount, paid.method, paid.note, excess, sign]
    claim = journal.claim(actor=till.actor, act=till.act, key=once, asked=asked, now=till.now)
    if claim.result_id is not None:
        return Payment.objects.select_related("receipt").get(pk=claim.result_id)
    amount = amount_of(till, paid.amount)
    if sign < 0 and not excess:
        if not paid.note.strip():
            raise UnableToTake.at("note", "Enter why it is paid back.")
        _refuse_more(amount, till.money(-queries.party_balance(party)), "in credit")
    if sign < 0 and excess:
        _refuse_more(amount, till.money(-queries.party_balance(party, Account.EXCESS)), "held")
    payment = record(till, party, paid, excess=excess, sign=sign)
    journal.settle(claim, payment.pk)
    return payment


@inside_write
def record(
    till: Till, party: Party, paid: Paid, *, excess: bool, sign: int, on_account: bool = True
) -> Payment:
    """Record money that changes hands, post it, and give its receipt.

    The receipt carries the charges that stand on none yet, unless it is not for the account: damage excess,
    or a voucher.

    Raises:
        UnableToTake: no such method, or no amount.
    """
    if paid.method not in Method.values:
        raise UnableToTake.at("method", "Choose cash, terminal or transfer.")
    amount = amount_of(till, paid.amount)
    payment = Payment.objects.create(
        station_id=till.station_id,
        party=party,
        method=paid.method,
        excess=excess,
        amount_minor=sign * amount.minor,
        currency=amount.currency,
        note=paid.note.strip()[:300],
        day=till.day,
        at=till.now,
        by_id=till.actor.user_id,
    )
    against = Account.EXCESS if excess else Account.PARTY
    text = f"{'Damage excess' if excess else 'Payment'} by {Method(paid.method).label}"
    about = About(party=party, payment=payment)
    post(till, INTO[Method(paid.method)], against, payment.amount, text, about)
    receipt = _give_receipt(till, payment, on_account and not excess)
    tell(till, "party", party.pk, f"{text}: {payment.amount}, receipt {receipt}")
    return payment


@inside_write
def _give_receipt(till: Till, payment: Payment, on_account: bool) -> Receipt:
    """Number and freeze the receipt of a payment; the till's lock keeps numbers without gap.

    The database refuses any other number all the same.
    """
    year = till.day.year
    last = Receipt.objects.filter(station_id=till.station_id, year=year).aggregate(last=Max("number"))["last"]
    unpaid = Charge.objects.filter(party=payment.party, on_receipt=None)
    charges = list(unpaid) if on_account else []
    account = Account.EXCESS if payment.excess else Account.PARTY
    balance = till.money(queries.party_balance(payment.party, account))
    receipt = Receipt.objects.create(
        station_id=till.station_id,
        year=year,
        number=(last or 0) + 1,
        payment=payment,
        paper=paper(till.terms, payment, charges, balance),
        at=till.now,
    )
    ReceiptLine.objects.bulk_create(ReceiptLine(receipt=receipt, charge=charge) for charge in charges)
    return receipt


def amount_of(till: Till, amount: Decimal) -> Money:
    """Return an amount of the station's currency, above nothing.

    Raises:
        UnableToTake: it is none, or has too many decimals.
    """
    try:
        money = till.money(minor_of(amount, till.terms.currency, "amount"))
    except UnableToPrice as refused:
        raise UnableToTake(refused.sentence, fields=refused.fields) from refused
    if not money:
        raise UnableToTake.at("amount", "Enter an amount above nothing.")
    return money


def _refuse_more(amount: Money, most: Money, what: str) -> None:
    if amount > most:
        raise UnableToTake.at("amount", f"Enter at most {max(most, most - most)}, which is {what}.")
