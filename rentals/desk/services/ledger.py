"""The demo's takings of its season, written in bulk: the rules of the database hold for them all the same."""

import random
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any, Final

from rentals.bookings.models import Outing
from rentals.bookings.states import OutingState
from rentals.desk import demo
from rentals.lib.access import Actor, System
from rentals.lib.when import day_bounds
from rentals.lib.writes import write
from rentals.stations.models import Station
from rentals.takings import queries
from rentals.takings.mapping import quotes
from rentals.takings.mapping.papers import paper
from rentals.takings.models import (
    INTO,
    Account,
    Charge,
    DayClose,
    LedgerEntry,
    Method,
    Payment,
    Purpose,
    Receipt,
    ReceiptLine,
)

METHODS: Final = (Method.TERMINAL, Method.TERMINAL, Method.CASH, Method.CASH, Method.TRANSFER)
EXTRAS: Final = (("fin-repair", 0.03), ("waterproof-case", 0.05))
"""What else is sold with an outing, and how often."""

FLOAT_MINOR: Final = 10_000
"""What lies in the drawer over night."""

BATCH: Final = 500


@write
def write_ledger(*, actor: Actor, seller: Actor, station: Station, now: datetime) -> None:
    """Write what the outings of the demo's season cost and how they were paid, and close each day.

    Args:
        actor: the service itself.
        seller: who took the money.
        station: with its price list set.
        now: the moment.
    """
    actor.require_system(System.SEED)
    Ledger(station, seller, now).write()


class Ledger:
    """A season of takings: each party pays when it leaves, and the drawer is counted in the evening."""

    def __init__(self, station: Station, seller: Actor, now: datetime) -> None:
        self.station, self.seller = station, seller
        self.book = queries.price_book(station, as_of=now)
        self.dice = random.Random(f"{demo.SEED}:takings:{station.slug}")  # noqa: S311 - a story, not a secret
        today, _end = day_bounds(station.local(now).date(), station.zone)
        self.owed: defaultdict[int, list[Charge]] = defaultdict(list)
        self.outings = list(
            Outing.objects.filter(station=station, state=OutingState.CLOSED, ends_at__lt=today)
            .select_related("booking__party", "rider")
            .order_by("closed_at", "id")
        )

    def write(self) -> None:
        """Write every day of the season."""
        if not self.outings:
            return
        charges = Charge.objects.bulk_create(self._charges(), batch_size=BATCH)
        payments = Payment.objects.bulk_create(self._payments(charges), batch_size=BATCH)
        receipts = Receipt.objects.bulk_create(self._receipts(payments), batch_size=BATCH)
        given = {receipt.payment.party_id: receipt for receipt in receipts}
        ReceiptLine.objects.bulk_create(
            (ReceiptLine(receipt=given[charge.party_id], charge=charge) for charge in charges),
            batch_size=BATCH,
        )
        closes = self._closes(payments)
        entries = [*self._of_charges(charges), *self._of_payments(payments), *self._of_closes(closes)]
        LedgerEntry.objects.bulk_create(sorted(entries, key=lambda entry: entry.at), batch_size=BATCH)
        DayClose.objects.bulk_create(closes)

    def _charges(self) -> Iterable[Charge]:
        for outing in self.outings:
            line = queries.time_line(self.book, outing)
            yield self._charge(outing, line, Purpose.TIME)
            for code, often in EXTRAS:
                if self.dice.random() < often:
                    wanted = queries.Wanted(good=code, unit="piece", day=self._day(outing))
                    yield self._charge(outing, quotes.line_of(self.book, wanted), Purpose.GOODS)

    def _charge(self, outing: Outing, line: queries.Line, purpose: Purpose) -> Charge:
        return Charge(
            party=outing.booking.party,
            outing=outing if purpose == Purpose.TIME else None,
            good=self.book.goods[line.good],
            purpose=purpose,
            text=f"{line.text}, {outing.rider}"[:120] if purpose == Purpose.TIME else line.text,
            **line.charged(),
            **self._moment(outing.closed_at or outing.ends_at),
        )

    def _payments(self, charges: Sequence[Charge]) -> Iterable[Payment]:
        """Yield what each party paid for its charges, in the order in which it left."""
        for charge in charges:
            self.owed[charge.party_id].append(charge)
        for mine in self.owed.values():
            yield Payment(
                party=mine[0].party,
                method=self.dice.choice(METHODS),
                amount_minor=sum(charge.gross_minor for charge in mine),
                currency=mine[0].currency,
                **self._moment(mine[-1].at + timedelta(minutes=4)),
            )

    def _receipts(self, payments: Sequence[Payment]) -> Iterable[Receipt]:
        numbers: defaultdict[int, int] = defaultdict(int)
        for payment in payments:
            numbers[payment.day.year] += 1
            yield Receipt(
                station=self.station,
                year=payment.day.year,
                number=numbers[payment.day.year],
                payment=payment,
                paper=paper(self.book.terms, payment, self.owed[payment.party_id], self.book.terms.money(0)),
                at=payment.at,
            )

    def _closes(self, payments: Sequence[Payment]) -> list[DayClose]:
        """Return the close of each day: now and then a coin is missing."""
        cash: defaultdict[date, int] = defaultdict(int)
        for payment in payments:
            cash[payment.day] += payment.amount_minor if payment.method == Method.CASH else 0
        closes, drawer = [], 0
        for day, taken in sorted(cash.items()):
            expected = drawer + taken
            short = min(self.dice.choice((0, 0, 0, 0, 0, 0, 0, 0, 0, 200)), expected)
            counted = expected - short
            drawer = min(FLOAT_MINOR, counted)
            closes.append(
                DayClose(
                    station=self.station,
                    day=day,
                    expected_minor=expected,
                    counted_minor=counted,
                    left_minor=drawer,
                    currency=self.book.terms.currency,
                    note="Counted twice" if short else "",
                    at=self._evening(day),
                    by_id=self.seller.user_id,
                )
            )
        return closes

    def _of_charges(self, charges: Sequence[Charge]) -> Iterable[LedgerEntry]:
        for charge in charges:
            net = charge.gross_minor - charge.tax_minor
            for account, minor in ((Account.SALES, net), (Account.TAX, charge.tax_minor)):
                if minor:
                    yield self._entry(
                        Account.PARTY, account, minor, charge.text, charge.at, charge.day,
                        party=charge.party, charge=charge,
                    )  # fmt: skip

    def _of_payments(self, payments: Sequence[Payment]) -> Iterable[LedgerEntry]:
        for payment in payments:
            text = f"Payment by {Method(payment.method).label}"
            into = INTO[Method(payment.method)]
            yield self._entry(
                into, Account.PARTY, payment.amount_minor, text, payment.at, payment.day,
                party=payment.party, payment=payment,
            )  # fmt: skip

    def _of_closes(self, closes: Sequence[DayClose]) -> Iterable[LedgerEntry]:
        for close in closes:
            short, out = close.expected_minor - close.counted_minor, close.counted_minor - close.left_minor
            moved = (
                (Account.DIFFERENCE, short, "Counted at the close"),
                (Account.SAFE, out, "Taken out of the drawer at the close"),
            )
            for account, minor, text in moved:
                if minor:
                    yield self._entry(account, Account.CASH, minor, text, close.at, close.day)

    def _entry(
        self, debit: Account, credit: Account, minor: int, text: str, at: datetime, day: date, **about: Any
    ) -> LedgerEntry:
        return LedgerEntry(
            station=self.station,
            day=day,
            at=at,
            debit=debit,
            credit=credit,
            amount_minor=minor,
            currency=self.book.terms.currency,
            text=text[:160],
            by_id=self.seller.user_id,
            **about,
        )

    def _day(self, outing: Outing) -> date:
        return self.station.local(outing.starts_at).date()

    def _evening(self, day: date) -> datetime:
        return datetime.combine(day, self.station.closes, self.station.zone)

    def _moment(self, at: datetime) -> dict[str, Any]:
        """Return where, when and by whom, as every row of money says it."""
        return {
            "station": self.station,
            "day": self.station.local(at).date(),
            "at": at,
            "by_id": self.seller.user_id,
        }
