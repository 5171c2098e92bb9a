"""No-wind credits and vouchers: given or sold with a code and a last day, and used to pay what is owed."""

import secrets
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final
from uuid import UUID

from rentals.audit import services as journal
from rentals.bookings.models import Outing, Party
from rentals.lib.access import Act, Actor
from rentals.lib.money import Money
from rentals.lib.problems import NotVisible
from rentals.lib.writes import inside_write, write
from rentals.takings import queries
from rentals.takings.models import Account, Charge, PassUse, Voucher
from rentals.takings.services.charging import contra, give_back
from rentals.takings.services.paying import Paid, amount_of, record
from rentals.takings.services.till import About, Till, UnableToTake, open_till, post, tell, visible_party

ALPHABET: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Letters and digits that nobody mistakes for another on paper (Crockford's base 32)."""

CODE_LENGTH: Final = 8
"""Forty bits: guessing one of a thousand live codes takes a thousand million tries. Status: policy."""


@write
def credit_outing(
    *, actor: Actor, outing_id: int, why: str, once: UUID | None = None, now: datetime
) -> Voucher | None:
    """Take back what an outing was charged, for lack of wind, and give what was paid of it as a credit.

    Hours of a season card go back onto it. What was never paid needs no credit.

    Returns:
        The credit; None when the party had paid nothing of it.

    Raises:
        NotVisible: no such outing here.
        UnableToTake: no reason, or nothing was charged.
    """
    outing = Outing.objects.visible_to(actor).select_related("booking__party").filter(pk=outing_id).first()
    if outing is None:
        raise NotVisible("There is no such outing here.")
    till = open_till(actor=actor, act=Act.GIVE_CREDIT, station_id=outing.station_id, now=now)
    asked = ["outing", outing_id, why]
    claim = journal.claim(actor=actor, act=Act.GIVE_CREDIT, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Voucher.objects.filter(pk=claim.result_id).first()
    if not why.strip():
        raise UnableToTake.at("why", "Enter why: no wind, or too much of it.")
    charges = list(Charge.objects.filter(outing=outing).standing().select_related("party"))
    uses = list(PassUse.objects.filter(outing=outing, gives_back=None, given_back=None))
    if not charges and not uses:
        raise UnableToTake("Nothing was charged for that outing.")
    taken = sum((-contra(till, charge, why).gross for charge in charges), till.money(0))
    for use in uses:
        give_back(till, use)
    party = outing.booking.party
    amount = min(taken, till.money(max(0, -queries.party_balance(party))))
    voucher = _credit(till, party, amount, why) if amount else None
    journal.settle(claim, voucher.pk if voucher else 0)
    return voucher


@write
def give_credit(
    *, actor: Actor, party_id: int, amount: Decimal, why: str, once: UUID | None = None, now: datetime
) -> Voucher:
    """Turn what a party has paid too much into a credit with a code, instead of paying it back.

    Raises:
        NotVisible: no such party here.
        UnableToTake: no reason, or more than the party is in credit.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.GIVE_CREDIT, station_id=party.station_id, now=now)
    asked = ["party", party_id, amount, why]
    claim = journal.claim(actor=actor, act=Act.GIVE_CREDIT, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Voucher.objects.get(pk=claim.result_id)
    if not why.strip():
        raise UnableToTake.at("why", "Enter why, for whoever asks later.")
    money, most = amount_of(till, amount), till.money(max(0, -queries.party_balance(party)))
    if money > most:
        raise UnableToTake.at("amount", f"Enter at most {most}, which the party has paid too much.")
    voucher = _credit(till, party, money, why)
    journal.settle(claim, voucher.pk)
    return voucher


@write
def sell_voucher(
    *, actor: Actor, party_id: int, paid: Paid, once: UUID | None = None, now: datetime
) -> Voucher:
    """Sell a voucher for what is paid now. Its tax falls due when it is used: what it buys is not known yet.

    Source: a multi-purpose voucher, Council Directive (EU) 2016/1065, article 30b.

    Raises:
        NotVisible: no such party here.
        UnableToTake: no amount or method.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.TAKE_PAYMENT, station_id=party.station_id, now=now)
    asked = ["voucher", party_id, paid.amount, paid.method, paid.note]
    claim = journal.claim(actor=actor, act=Act.TAKE_PAYMENT, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Voucher.objects.get(pk=claim.result_id)
    amount = amount_of(till, paid.amount)
    voucher = _make(till, party, Voucher.Kind.VOUCHER, amount, "")
    note = f"Voucher {voucher.code}, {amount}, until {voucher.last_day:%d %b %Y}"
    said = Paid(amount=paid.amount, method=paid.method, note=note)
    record(till, party, said, excess=False, sign=1, on_account=False)
    journal.settle(claim, voucher.pk)
    return voucher


@write
def redeem(*, actor: Actor, party_id: int, code: str, once: UUID | None = None, now: datetime) -> Voucher:
    """Let a credit or voucher pay what a party owes, as far as it goes; the rest stays on it.

    Raises:
        NotVisible: no such party here.
        UnableToTake: no such code, nothing left on it, past its last day, or nothing owed.
    """
    party = visible_party(actor, party_id)
    till = open_till(actor=actor, act=Act.TAKE_PAYMENT, station_id=party.station_id, now=now)
    asked = ["redeem", party_id, code]
    claim = journal.claim(actor=actor, act=Act.TAKE_PAYMENT, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Voucher.objects.get(pk=claim.result_id)
    voucher = Voucher.objects.filter(station_id=till.station_id, code=code.strip().upper()).first()
    if voucher is None:
        raise UnableToTake.at("code", "There is no credit or voucher of that code here.")
    if voucher.last_day < till.day:
        raise UnableToTake.at("code", f"It was good until {voucher.last_day:%d %b %Y}.")
    left, owed = voucher_left(voucher), till.money(queries.party_balance(party))
    if left.minor <= 0:
        raise UnableToTake.at("code", "It is used up.")
    if owed.minor <= 0:
        raise UnableToTake("The party owes nothing. Charge first.")
    amount = min(left, owed)
    about = About(party=party, voucher=voucher)
    post(till, Account(voucher.kind), Account.PARTY, amount, f"Paid with {voucher.code}", about)
    tell(till, "party", party.pk, f"Paid {amount} with {voucher.get_kind_display()} {voucher.code}")
    journal.settle(claim, voucher.pk)
    return voucher


def voucher_left(voucher: Voucher) -> Money:
    """Return what a voucher is still worth: one query."""
    return Money(queries.voucher_left_minor(voucher), voucher.currency)


@inside_write
def _credit(till: Till, party: Party, amount: Money, why: str) -> Voucher:
    return _make(till, party, Voucher.Kind.CREDIT, amount, why)


@inside_write
def _make(till: Till, party: Party, kind: Voucher.Kind, amount: Money, why: str) -> Voucher:
    voucher = Voucher.objects.create(
        station_id=till.station_id,
        kind=kind,
        code="".join(secrets.choice(ALPHABET) for _place in range(CODE_LENGTH)),
        party=party,
        amount_minor=amount.minor,
        currency=amount.currency,
        why=why.strip()[:300],
        last_day=till.day + timedelta(days=till.terms.credit_days),
        at=till.now,
        by_id=till.actor.user_id,
    )
    text = f"{kind.label.capitalize()} {voucher.code}"
    post(till, Account.PARTY, Account(kind), amount, text, About(party=party, voucher=voucher))
    tell(till, "party", party.pk, f"{text}: {amount}, until {voucher.last_day}. {why.strip()}".rstrip(". "))
    return voucher
