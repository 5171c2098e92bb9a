"""A party's account: what it owes, what it paid, what is held for it, and what is still to be charged."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Sum

from rentals.bookings.models import Booking, Outing, Party
from rentals.bookings.states import DROPPED
from rentals.lib.money import Money
from rentals.stations.models import Station
from rentals.takings.mapping import quotes
from rentals.takings.mapping.book import PriceBook, UnableToQuote
from rentals.takings.mapping.quotes import Line
from rentals.takings.models import (
    Account,
    Charge,
    Good,
    LedgerEntry,
    Pass,
    PassUse,
    Payment,
    Purpose,
    Terms,
    Voucher,
)
from rentals.takings.queries.prices import price_book


@dataclass(frozen=True, slots=True)
class Cover:
    """A pass that pays for an outing's time, and the minutes it takes."""

    held: Pass
    minutes: int
    left: int | None


@dataclass(frozen=True, slots=True)
class Due:
    """Something that an outing will cost and that is not on the account yet; a pass may cover it."""

    outing: Outing
    purpose: Purpose
    line: Line
    cover: Cover | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartyAccount:
    """A party's account as its page shows it."""

    party: Party
    currency: str
    charges: tuple[Charge, ...]
    payments: tuple[Payment, ...]
    entries: tuple[LedgerEntry, ...]
    due: tuple[Due, ...]
    goods: tuple[Good, ...]
    terms: Terms
    balance: Money
    excess_held: Money

    @property
    def to_come(self) -> Money:
        """What is still to be charged."""
        uncovered = (due.line.total for due in self.due if due.cover is None)
        return sum(uncovered, Money(0, self.currency))

    @property
    def vouchers(self) -> tuple[Voucher, ...]:
        """Credits given to the party, and vouchers sold to it."""
        given = {
            entry.voucher.pk: entry.voucher
            for entry in self.entries
            if entry.voucher and entry.debit == Account.PARTY
        }
        return tuple(given.values())

    @property
    def deposit(self) -> Money:
        """What is asked on booking, before anything is charged or paid."""
        return self.to_come.times(Decimal(self.terms.deposit_pct) / 100)

    @property
    def excess(self) -> Money:
        """The damage excess that the station asks for."""
        return self.terms.money(self.terms.excess_minor)

    @property
    def too_much(self) -> Money:
        """What was paid beyond what was charged."""
        return max(-self.balance, Money(0, self.currency))

    @property
    def in_credit(self) -> bool:
        """Whether the party has paid more than it was charged."""
        return self.balance.minor < 0


def balance_minor(entries: QuerySet[LedgerEntry], account: Account) -> int:
    """Return an account's debits less its credits in minor units: one query."""
    sums = entries.aggregate(
        debits=Sum("amount_minor", filter=Q(debit=account)),
        credits=Sum("amount_minor", filter=Q(credit=account)),
    )
    return int(sums["debits"] or 0) - int(sums["credits"] or 0)


def party_balance(party: Party, account: Account = Account.PARTY) -> int:
    """Return what a party owes in minor units, negative when it has paid too much: one query."""
    return balance_minor(LedgerEntry.objects.filter(party=party), account)


def party_account(party: Party, station: Station, *, now: datetime) -> PartyAccount:
    """Return a party's account with what is still to be charged: seven queries.

    Raises:
        UnableToQuote: the station has no money terms yet.
    """
    book = price_book(station, as_of=now)
    charges = list(
        Charge.objects.filter(party=party)
        .select_related("good", "reverses", "taken_back", "on_receipt__receipt", "outing__rider")
        .order_by("id")
    )
    entries = list(
        LedgerEntry.objects.filter(party=party).select_related("payment__receipt", "voucher").order_by("id")
    )
    payments = {entry.payment.pk: entry.payment for entry in entries if entry.payment}
    return PartyAccount(
        party=party,
        currency=book.terms.currency,
        charges=tuple(charges),
        payments=tuple(payments.values()),
        entries=tuple(entries),
        due=tuple(_due(book, party, charges)),
        goods=tuple(good for good in book.goods.values() if good.sold),
        terms=book.terms,
        balance=book.terms.money(summed(entries, Account.PARTY)),
        excess_held=-book.terms.money(summed(entries, Account.EXCESS)),
    )


def due_of(party: Party, book: PriceBook) -> list[Due]:
    """Return what the outings of a party will cost and is not charged yet: three queries."""
    return list(_due(book, party, list(Charge.objects.filter(party=party).standing())))


def summed(entries: Iterable[LedgerEntry], account: Account) -> int:
    """Return an account's debits less its credits over entries at hand, in minor units."""
    return sum(
        entry.amount_minor * ((entry.debit == account) - (entry.credit == account)) for entry in entries
    )


def open_parties(station: Station) -> list[tuple[Party, int]]:
    """Return the parties of a station that owe or are owed something, by name: two queries."""
    owed = (
        LedgerEntry.objects.filter(station=station, party__isnull=False)
        .values("party")
        .annotate(
            debits=Sum("amount_minor", filter=Q(debit=Account.PARTY), default=0),
            credits=Sum("amount_minor", filter=Q(credit=Account.PARTY), default=0),
        )
        .exclude(debits=F("credits"))
    )
    balances = {row["party"]: row["debits"] - row["credits"] for row in owed}
    parties = Party.objects.filter(pk__in=balances).order_by("contact_name", "id")
    return [(party, balances[party.pk]) for party in parties]


def voucher_left_minor(voucher: Voucher) -> int:
    """Return what a credit or voucher is still worth in minor units: one query."""
    return -balance_minor(LedgerEntry.objects.filter(voucher=voucher), Account(voucher.kind))


def lapsed(station_id: int, day: date) -> list[tuple[Voucher, Money]]:
    """Return credits and vouchers whose last day is before a day, with what is left on each: two queries."""
    kinds = (Account.CREDIT, Account.VOUCHER)
    sums = (
        LedgerEntry.objects.filter(station_id=station_id, voucher__last_day__lt=day)
        .values("voucher")
        .annotate(
            given=Sum("amount_minor", filter=Q(credit__in=kinds), default=0),
            used=Sum("amount_minor", filter=Q(debit__in=kinds), default=0),
        )
        .filter(given__gt=F("used"))
    )
    left = {row["voucher"]: row["given"] - row["used"] for row in sums}
    found = Voucher.objects.filter(pk__in=left).order_by("id")
    return [(voucher, Money(left[voucher.pk], voucher.currency)) for voucher in found]


def _due(book: PriceBook, party: Party, charges: Sequence[Charge]) -> Iterable[Due]:
    """Yield what each outing costs by the list of its booking, and its late fee, unless it was charged."""
    charged = {
        (charge.outing_id, charge.purpose)
        for charge in charges
        if charge.reverses_id is None and not hasattr(charge, "taken_back")
    }
    uses = PassUse.objects.filter(outing=OuterRef("pk"), gives_back=None, given_back=None)
    outings = list(
        Outing.objects.filter(booking__party=party)
        .exclude(state__in=DROPPED)
        .annotate(on_pass=Exists(uses))
        .select_related("booking", "rider")
        .order_by("starts_at", "id")
    )
    covers = _Covers(book.terms.station, outings)
    for outing in outings:
        if (outing.pk, Purpose.TIME) not in charged and not outing.on_pass:  # type: ignore[attr-defined]  # annotated
            yield Due(outing, Purpose.TIME, _time_line(book, outing), covers.take(outing))
        if outing.ashore_at is not None and (outing.pk, Purpose.LATE) not in charged:
            good = book.usual(outing.booking.kind)
            fee = quotes.lateness(book, good, due_at=outing.ends_at, back_at=outing.ashore_at)
            if fee is not None:
                yield Due(outing, Purpose.LATE, fee)


class _Covers:
    """The passes of some outings' riders, and what is left on each as outings take from it: one query."""

    def __init__(self, station: Station, outings: Iterable[Outing]) -> None:
        self.station = station
        self.held: defaultdict[int, list[Pass]] = defaultdict(list)
        self.left: dict[int, int | None] = {}
        riders = {outing.rider_id for outing in outings}
        standing = Pass.objects.filter(rider__in=riders, charge__taken_back=None)
        for held in standing.annotate(used=Sum("uses__minutes", default=0)).order_by("last_day", "id"):
            self.held[held.rider_id].append(held)
            self.left[held.pk] = None if held.minutes is None else held.minutes - held.used

    def take(self, outing: Outing) -> Cover | None:
        """Return the pass that covers an outing, the one that ends first, and take its minutes."""
        if outing.booking.kind != Booking.Kind.RENTAL:
            return None
        minutes = round((outing.ends_at - outing.starts_at).total_seconds() / 60)
        day = self.station.local(outing.starts_at).date()
        for held in self.held[outing.rider_id]:
            left = self.left[held.pk]
            if held.first_day <= day <= held.last_day and (left is None or left >= minutes):
                self.left[held.pk] = after = None if left is None else left - minutes
                return Cover(held, minutes, after)
        return None


def _time_line(book: PriceBook, outing: Outing) -> Line:
    """Return what an outing's time costs by the list of its booking, or today's where it had none yet."""
    for known in (book.at(outing.booking.booked_at), book):
        with suppress(UnableToQuote):
            good = known.usual(outing.booking.kind)
            return quotes.timed(known, good, 1, outing.starts_at, outing.ends_at)
    raise UnableToQuote(f"Ask a manager to set the price of a {outing.booking.kind} under Takings, Prices.")
