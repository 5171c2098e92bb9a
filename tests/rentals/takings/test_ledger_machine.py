"""Any order of bookings, moves, charges, payments, fees, passes and closings: the ledger always adds up.

Hypothesis plays the desk in any order, refusals included, beside a book of its own kept in plain integers.
After each step the rows are looked at by queries that know nothing of the services.
"""

from collections import Counter
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection, transaction
from django.db.models import Count, Max, Min, Sum
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from rentals.bookings import services as bookings
from rentals.bookings.models import Booking, Outing, Party
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Refused
from rentals.lib.writes import write
from rentals.takings import queries, services
from rentals.takings.models import (
    Charge,
    DayClose,
    LedgerEntry,
    Pass,
    PassUse,
    Payment,
    Receipt,
    ReceiptLine,
    Voucher,
)
from tests.rentals.takings.shop import Shop
from tests.rentals.walk import DAY, HOUR, MINUTE, Walk

seldom = st.integers(0, 3).map(lambda dice: dice == 3)
cents = st.integers(1, 9000).map(lambda minor: Decimal(minor) / 100)
methods = st.sampled_from(["cash", "terminal", "transfer"])
which = st.integers(0, 20)


class Desk(RuleBasedStateMachine):
    """Two parties, and a desk that does anything at any time."""

    start: datetime

    def __init__(self) -> None:
        super().__init__()
        self.run = transaction.atomic()
        self.run._from_testcase = True  # type: ignore[attr-defined]
        self.run.__enter__()
        self.cast = Walk(self.start)
        self.shop = Shop(self.cast)
        self.owed: Counter[int] = Counter()
        self.held: Counter[int] = Counter()
        self.drawer = 0
        self.done: Counter[str] = Counter()

    def teardown(self) -> None:
        connection.check_constraints()
        transaction.set_rollback(True)
        self.run.__exit__(None, None, None)

    def attempt(self, name: str, do: Callable[..., Any], **values: Any) -> Any:
        """Do it as the manager, or be told why not; a minute passes either way."""
        self.cast.now += MINUTE
        try:
            made = do(actor=self.cast.boss, now=self.cast.now, **values)
        except Refused:
            self.done["refused"] += 1
            return None
        self.done[name] += 1
        return made

    @initialize()
    def open_the_station(self) -> None:
        self.set_a_rule(2, 50, 100)
        self.parties = [self.promise(f"Ada {number}") for number in range(2)]

    def promise(self, name: str) -> int:
        start = self.cast.now + HOUR
        booking = bookings.book_party(
            actor=self.cast.boss,
            station_id=self.cast.tarrow.pk,
            contact=bookings.Contact(name=name, phone="0700 100 200"),
            kind=Booking.Kind.RENTAL,
            starts_at=start,
            ends_at=start + 2 * HOUR,
            riders=[self.cast.rider(name).pk],
            now=self.cast.now,
        )
        return booking.party_id

    def party(self, dice: int) -> int:
        return self.parties[dice % len(self.parties)]

    @rule(dice=which)
    def charge_outings(self, dice: int) -> None:
        party, before = self.party(dice), Charge.objects.count()
        self.attempt("charge", services.charge_due, party_id=party)
        self.note_charges(before)

    @rule(dice=which, amount=cents)
    def name_a_price(self, dice: int, amount: Decimal) -> None:
        named = services.Named(text="Fin", amount=amount, good="harness", why="Broken")
        before = Charge.objects.count()
        self.attempt("named", services.charge_named, party_id=self.party(dice), named=named)
        self.note_charges(before)

    @rule(dice=which)
    def sell_a_card(self, dice: int) -> None:
        party, before = self.party(dice), Charge.objects.count()
        rider = Outing.objects.filter(booking__party_id=party).first()
        assert rider is not None
        self.attempt(
            "card",
            services.sell_pass,
            party_id=party,
            rider_id=rider.rider_id,
            good="full-kit",
            unit="card",
            first_day=self.cast.now.date(),
        )
        self.note_charges(before)

    @rule(dice=which)
    def take_back(self, dice: int) -> None:
        charges = list(Charge.objects.order_by("id"))
        if not charges:
            return
        before = len(charges)
        charge = charges[dice % len(charges)]
        self.attempt("taken back", services.take_back_charge, charge_id=charge.pk, why="Wrong")
        self.note_charges(before)

    def note_charges(self, before: int) -> None:
        for charge in Charge.objects.order_by("id")[before:]:
            self.owed[charge.party_id] += charge.gross_minor

    @rule(dice=which, amount=cents, method=methods, back=st.booleans(), excess=seldom)
    def move_money(self, dice: int, amount: Decimal, method: str, back: bool, excess: bool) -> None:
        do = {
            (False, False): services.take_payment,
            (True, False): services.refund,
            (False, True): services.hold_excess,
            (True, True): services.return_excess,
        }[back, excess]
        party, paid = self.party(dice), services.Paid(amount=amount, method=method, note="Said so")
        payment = self.attempt(do.__name__, do, party_id=party, paid=paid)
        if payment is None:
            return
        minor = int(amount * 100) * (-1 if back else 1)
        if excess:
            self.held[party] += minor
        else:
            self.owed[party] -= minor
        self.drawer += minor if method == "cash" else 0

    @rule(dice=which, amount=cents)
    def keep_excess(self, dice: int, amount: Decimal) -> None:
        party = self.party(dice)
        if self.attempt("kept", services.keep_excess, party_id=party, amount=amount):
            self.held[party] -= int(amount * 100)
            self.owed[party] -= int(amount * 100)

    @rule(dice=which)
    def credit_an_outing(self, dice: int) -> None:
        before = Charge.objects.count()
        outing = Outing.objects.filter(booking__party_id=self.party(dice)).first()
        assert outing is not None
        credit = self.attempt("no wind", services.credit_outing, outing_id=outing.pk, why="No wind")
        self.note_charges(before)
        if credit is not None:
            self.owed[credit.party_id] += credit.amount_minor

    @rule(dice=which, amount=cents, method=methods)
    def sell_a_voucher(self, dice: int, amount: Decimal, method: str) -> None:
        paid = services.Paid(amount=amount, method=method)
        if self.attempt("voucher", services.sell_voucher, party_id=self.party(dice), paid=paid):
            self.drawer += int(amount * 100) if method == "cash" else 0

    @rule(dice=which, other=which)
    def redeem(self, dice: int, other: int) -> None:
        vouchers = list(Voucher.objects.order_by("id"))
        if not vouchers:
            return
        voucher, party = vouchers[other % len(vouchers)], self.party(dice)
        left = services.voucher_left(voucher).minor
        if self.attempt("redeemed", services.redeem, party_id=party, code=voucher.code):
            self.owed[party] -= left - services.voucher_left(voucher).minor

    @rule(dice=which, hours=st.integers(1, 6))
    def move_an_outing(self, dice: int, hours: int) -> None:
        """What a desk does to a booking: here around the services, as the rows below must not care."""
        outing = Outing.objects.filter(booking__party_id=self.party(dice), state="booked").first()
        if outing is not None:
            Outing.objects.filter(pk=outing.pk).update(ends_at=outing.starts_at + hours * HOUR)

    @rule(dice=which, really=st.booleans(), missed=st.booleans(), waived=seldom)
    def call_off(self, dice: int, really: bool, missed: bool, waived: bool) -> None:
        """The account and the pass end where the desk was told they would."""
        outings = Outing.objects.select_related("station", "rider", "booking__party")
        outing = outings.filter(booking__party_id=self.party(dice), state="booked").first()
        if not really or outing is None:
            return
        self.cast.now += MINUTE
        (told,) = queries.cancel_quotes([outing], missed=missed, now=self.cast.now)
        self.cast.now -= MINUTE
        before, minutes = Charge.objects.count(), minutes_of(outing)
        done = self.attempt(
            "waived" if waived else "called off",
            services.cancel_outing,
            outing_id=outing.pk,
            missed=missed,
            reason="Ill",
            waive="Ferry" if waived else "",
        )
        if done is None:
            return
        new = sum(charge.gross_minor for charge in Charge.objects.order_by("id")[before:])
        assert new == (0 if waived else told.fee.minor) - told.goes_back.minor
        kept = told.cover.minutes if told.cover and not waived else 0
        back = sum(use.minutes for use in told.back.uses)
        assert minutes_of(outing) == minutes - back + kept
        self.note_charges(before)

    @rule(dice=which, hours=st.integers(1, 3))
    def stay_out(self, dice: int, hours: int) -> None:
        outings = Outing.objects.select_related("station", "rider", "booking__party")
        outing = outings.filter(booking__party_id=self.party(dice), state="booked").first()
        if outing is None:
            return
        before, later = Charge.objects.count(), outing.ends_at + hours * HOUR

        @write
        def longer(*, actor: Actor, now: datetime) -> Outing:
            actor.require(Act.CHARGE, station_id=outing.station_id)
            services.charge_extension(actor=actor, act=Act.CHARGE, outing=outing, ends_at=later, now=now)
            Outing.objects.filter(pk=outing.pk).update(ends_at=later)
            return outing

        self.attempt("stayed out", longer)
        self.note_charges(before)

    @rule(dice=which)
    def book_again(self, dice: int) -> None:
        """A party comes another day, under the rule for calling off of that moment."""
        if len(self.parties) < 5:
            self.parties.append(self.promise(f"Ada {len(self.parties)}"))

    @rule(free=st.integers(0, 3), share=st.integers(0, 100), missed=st.integers(0, 100))
    def set_a_rule(self, free: int, share: int, missed: int) -> None:
        self.attempt(
            "ruled",
            services.set_cancel_rule,
            station_id=self.cast.tarrow.pk,
            free_hours=free,
            share_pct=share,
            missed_pct=missed,
        )

    @rule(dice=which)
    def store_kit(self, dice: int) -> None:
        before = Charge.objects.count()
        self.attempt(
            "stored",
            services.store_kit,
            party_id=self.party(dice),
            good="store",
            unit="week",
            count=2,
            first_day=self.cast.now.date(),
            what="Board",
        )
        self.note_charges(before)

    @rule(short=st.integers(-300, 300), left=st.integers(0, 5000), really=seldom)
    def close(self, short: int, left: int, really: bool) -> None:
        if not really:
            return
        cash = max(0, self.drawer + short)
        counted = services.Counted(
            cash=Decimal(cash) / 100, left=Decimal(min(left, cash)) / 100, note="Counted twice"
        )
        closed = self.attempt(
            "closed",
            services.close_day,
            station_id=self.cast.tarrow.pk,
            day=self.cast.now.date(),
            counted=counted,
        )
        if closed is not None:
            self.drawer = min(left, cash)
            self.cast.now += DAY

    # -- what must hold after each step

    @invariant()
    def the_ledger_sums_to_zero(self) -> None:
        total: Counter[str] = Counter()
        for debit, credit, minor in LedgerEntry.objects.values_list("debit", "credit", "amount_minor"):
            assert minor > 0
            total[debit] += minor
            total[credit] -= minor
        assert sum(total.values()) == 0

    @invariant()
    def each_party_owes_what_its_own_book_says(self) -> None:
        for party in Party.objects.all():
            assert sums(party=party, account="party") == self.owed[party.pk]
            assert -sums(party=party, account="excess") == self.held[party.pk]
            assert self.held[party.pk] >= 0

    @invariant()
    def the_drawer_holds_what_its_own_book_says(self) -> None:
        assert sums(account="cash") == self.drawer

    @invariant()
    def sales_and_tax_are_what_was_charged(self) -> None:
        charged = Charge.objects.aggregate(
            gross=Sum("gross_minor", default=0), tax=Sum("tax_minor", default=0)
        )
        assert -sums(account="sales") == charged["gross"] - charged["tax"]
        assert -sums(account="tax") == charged["tax"]

    @invariant()
    def no_credit_or_voucher_is_worth_less_than_nothing(self) -> None:
        for voucher in Voucher.objects.all():
            assert 0 <= services.voucher_left(voucher).minor <= voucher.amount_minor

    @invariant()
    def receipts_have_no_gap_and_each_payment_has_one(self) -> None:
        for year in Receipt.objects.values("year").annotate(
            count=Count("id"), first=Min("number"), last=Max("number")
        ):
            assert (year["first"], year["last"]) == (1, year["count"])
        assert Receipt.objects.count() == Payment.objects.count()
        assert ReceiptLine.objects.count() <= Charge.objects.count()

    @invariant()
    def no_pass_has_given_more_than_it_holds(self) -> None:
        for held in Pass.objects.all():
            used = PassUse.objects.filter(held=held).aggregate(sum=Sum("minutes", default=0))["sum"]
            assert held.minutes is not None
            assert 0 <= used <= held.minutes

    @invariant()
    def nothing_is_dated_before_a_close_that_came_first(self) -> None:
        for close in DayClose.objects.all():
            assert not LedgerEntry.objects.filter(day__lte=close.day, at__gt=close.at).exists()


def minutes_of(outing: Outing) -> int:
    """The minutes that an outing holds of passes."""
    return int(PassUse.objects.filter(outing=outing).aggregate(sum=Sum("minutes", default=0))["sum"])


def sums(*, account: str, party: Party | None = None) -> int:
    """An account's debits less its credits."""
    entries = LedgerEntry.objects.all() if party is None else LedgerEntry.objects.filter(party=party)
    into = entries.filter(debit=account).aggregate(sum=Sum("amount_minor", default=0))["sum"]
    out = entries.filter(credit=account).aggregate(sum=Sum("amount_minor", default=0))["sum"]
    return int(into) - int(out)


@pytest.mark.both_engines
def test_the_books_always_add_up(db: None, now: datetime) -> None:
    Desk.start = now
    run_state_machine_as_test(
        Desk,
        settings=settings(
            max_examples=8,
            stateful_step_count=30,
            deadline=None,
            derandomize=True,
            # Shrinking would replay whole seasons for minutes.
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
