"""A party's account: what it owes, what it paid, what is held for it, and what is still to be charged."""

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Sum

from rentals.bookings.models import Outing, Party
from rentals.bookings.states import DROPPED
from rentals.lib.money import Money
from rentals.stations.models import Station
from rentals.takings.mapping import quotes
from rentals.takings.mapping.book import PriceBook, UnableToQuote
from rentals.takings.mapping.quotes import Line
from rentals.takings.models import (
    AHEAD,
    STORED_BY,
    Account,
    Charge,
    Good,
    LedgerEntry,
    PassUse,
    Payment,
    Purpose,
    Terms,
    Unit,
    Voucher,
)
from rentals.takings.queries.passes import Cover, Covers, PassLeft, passes_of
from rentals.takings.queries.prices import price_book


@dataclass(frozen=True, slots=True)
class Due:
    """Something that an outing will cost and that is not on the account yet; a pass may cover it."""

    outing: Outing
    purpose: Purpose
    line: Line
    cover: Cover | None = None


@dataclass(frozen=True, slots=True)
class Listed:
    """A unit of a good that is sold today, and what it costs."""

    good: Good
    unit: Unit
    price: Money

    @property
    def choice(self) -> tuple[str, str]:
        """Its key in a form, and what is shown."""
        unit = "" if self.unit == Unit.PIECE else f", {self.unit.label}"
        return f"{self.good.code}:{self.unit.value}", f"{self.good.name}{unit}: {self.price}"

    @property
    def ahead(self) -> bool:
        """Whether it is sold as a pass."""
        return self.good.kind == Good.Kind.RENTAL and self.unit in AHEAD

    @property
    def stored(self) -> bool:
        """Whether it is a rack for own kit."""
        return self.good.kind == Good.Kind.STORAGE and self.unit in STORED_BY


@dataclass(frozen=True, slots=True, kw_only=True)
class PartyAccount:
    """A party's account as its page shows it."""

    party: Party
    currency: str
    charges: tuple[Charge, ...]
    payments: tuple[Payment, ...]
    entries: tuple[LedgerEntry, ...]
    due: tuple[Due, ...]
    passes: tuple[PassLeft, ...]
    goods: tuple[Good, ...]
    listed: tuple[Listed, ...]
    riders: list[tuple[str, str]]
    today: date
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


@dataclass(frozen=True, slots=True)
class PartySums:
    """What a party was charged, what is still open of it, and so what it has paid."""

    charged: Money
    balance: Money

    @property
    def paid(self) -> Money:
        """What was paid or paid back, with credits and vouchers."""
        return self.charged - self.balance


def party_sums(party: Party, terms: Terms) -> PartySums:
    """Return a party's account in three numbers: one query."""
    sold = (Account.SALES, Account.TAX)
    sums = LedgerEntry.objects.filter(party=party).aggregate(
        charged=Sum("amount_minor", filter=Q(debit=Account.PARTY, credit__in=sold), default=0)
        - Sum("amount_minor", filter=Q(credit=Account.PARTY, debit__in=sold), default=0),
        balance=Sum("amount_minor", filter=Q(debit=Account.PARTY), default=0)
        - Sum("amount_minor", filter=Q(credit=Account.PARTY), default=0),
    )
    return PartySums(terms.money(sums["charged"]), terms.money(sums["balance"]))


@dataclass(frozen=True, slots=True)
class OutingMoney:
    """What an outing's page says of money: the party's account, and the passes of its rider."""

    sums: PartySums
    passes: tuple[PassLeft, ...]


def outing_money(outing: Outing) -> OutingMoney | None:
    """Return what an outing's page says of money; None where the station has no prices: three queries."""
    terms = Terms.objects.filter(station_id=outing.station_id).first()
    if terms is None:
        return None
    day = outing.station.local(outing.starts_at).date()
    held = (each for each in passes_of([outing.rider_id]) if each.good_on(day))
    return OutingMoney(party_sums(outing.booking.party, terms), tuple(held))


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
    outings = _outings_of(party)
    known = passes_of({outing.rider_id for outing in outings})
    payments = {entry.payment.pk: entry.payment for entry in entries if entry.payment}
    return PartyAccount(
        party=party,
        currency=book.terms.currency,
        charges=tuple(charges),
        payments=tuple(payments.values()),
        entries=tuple(entries),
        due=tuple(_due(book, outings, charges, known)),
        passes=tuple(known),
        riders=sorted({(str(outing.rider_id), outing.rider.name) for outing in outings}),
        today=station.local(now).date(),
        listed=tuple(_listed(book, station.local(now).date())),
        goods=tuple(good for good in book.goods.values() if good.sold),
        terms=book.terms,
        balance=book.terms.money(summed(entries, Account.PARTY)),
        excess_held=-book.terms.money(summed(entries, Account.EXCESS)),
    )


def due_of(party: Party, book: PriceBook) -> list[Due]:
    """Return what the outings of a party will cost and is not charged yet: three queries."""
    outings = _outings_of(party)
    known = passes_of({outing.rider_id for outing in outings})
    return list(_due(book, outings, list(Charge.objects.filter(party=party).standing()), known))


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


def _listed(book: PriceBook, day: date) -> Iterable[Listed]:
    """Yield what is sold on a day by its unit, the usual goods first."""
    for good in sorted(book.goods.values(), key=lambda good: not good.usual):
        for unit in Unit if good.sold else ():
            price = book.amount(good, unit, day)
            if price is not None:
                yield Listed(good, unit, price)


def _outings_of(party: Party) -> list[Outing]:
    """Return a party's outings that stand, with whether a pass paid for each: one query."""
    uses = PassUse.objects.filter(outing=OuterRef("pk"), gives_back=None, given_back=None)
    return list(
        Outing.objects.filter(booking__party=party)
        .exclude(state__in=DROPPED)
        .annotate(on_pass=Exists(uses))
        .select_related("booking", "rider")
        .order_by("starts_at", "id")
    )


def _due(
    book: PriceBook, outings: Sequence[Outing], charges: Sequence[Charge], known: Iterable[PassLeft]
) -> Iterable[Due]:
    """Yield what each outing costs by the list of its booking, and its late fee, unless it was charged."""
    charged = {
        (charge.outing_id, charge.purpose)
        for charge in charges
        if charge.reverses_id is None and not hasattr(charge, "taken_back")
    }
    covers = Covers(book.terms.station, known)
    for outing in outings:
        if (outing.pk, Purpose.TIME) not in charged and not outing.on_pass:  # type: ignore[attr-defined]  # annotated
            yield Due(outing, Purpose.TIME, time_line(book, outing), covers.take(outing))
        if outing.ashore_at is not None and (outing.pk, Purpose.LATE) not in charged:
            good = book.usual(outing.booking.kind)
            fee = quotes.lateness(book, good, due_at=outing.ends_at, back_at=outing.ashore_at)
            if fee is not None:
                yield Due(outing, Purpose.LATE, fee)


def time_line(book: PriceBook, outing: Outing) -> Line:
    """Return what an outing's time costs by the list of its booking, or today's where it had none yet."""
    for known in (book.at(outing.booking.booked_at), book):
        with suppress(UnableToQuote):
            good = known.usual(outing.booking.kind)
            return quotes.timed(known, good, 1, outing.starts_at, outing.ends_at)
    raise UnableToQuote(f"Ask a manager to set the price of a {outing.booking.kind} under Takings, Prices.")
