"""Two desks at one till: real threads on a database where writes commit."""

from datetime import datetime
from decimal import Decimal
from uuid import uuid4

import pytest

from rentals.bookings.models import Outing
from rentals.lib.problems import Refused
from rentals.takings import services
from rentals.takings.models import Charge, DayClose, LedgerEntry, Payment, Receipt
from rentals.takings.queries import party_account
from rentals.takings.services import voucher_left
from tests.rentals.takings.shop import Shop, eur
from tests.rentals.test_races import at_once, told_apart, without_deadlock
from tests.rentals.walk import Walk

pytestmark = pytest.mark.both_engines


@pytest.fixture
def shop(committing: None, now: datetime) -> Shop:
    """A shop on a database where writes commit."""
    shop = Shop(Walk(now))
    assert shop.party
    assert shop.cast.boss
    return shop


def numbers() -> list[int]:
    return sorted(Receipt.objects.values_list("number", flat=True))


def test_payments_at_once_number_their_receipts_without_gap(shop: Shop) -> None:
    with without_deadlock():
        answers = at_once(*[lambda: shop.pay("1")] * 24)

    assert told_apart(answers) == {Payment: 24}
    assert numbers() == list(range(1, 25))
    assert LedgerEntry.objects.filter(debit="cash").count() == 24


def test_payments_that_are_refused_leave_no_gap(shop: Shop) -> None:
    calls = [lambda: shop.pay("1"), lambda: shop.refund("999")] * 8

    answers = at_once(*calls)

    assert sum(isinstance(answer, Refused) for answer in answers) == 8
    assert numbers() == list(range(1, 9))


def test_the_same_request_sent_eight_times_pays_once(shop: Shop) -> None:
    key = uuid4()

    answers = at_once(*[lambda: shop.pay("20", once=key)] * 8)

    assert told_apart(answers) == {Payment: 8}
    assert len({answer.pk for answer in answers if isinstance(answer, Payment)}) == 1
    assert (Payment.objects.count(), numbers()) == (1, [1])


def test_two_who_charge_the_same_outing_charge_it_once(shop: Shop) -> None:
    answers = at_once(*[lambda: shop.charge()] * 6)

    assert sum(isinstance(answer, Refused) for answer in answers) == 5
    assert Charge.objects.count() == 1


def test_money_is_paid_back_once(shop: Shop) -> None:
    shop.pay("50")

    answers = at_once(*[lambda: shop.refund("50")] * 6)

    assert sum(isinstance(answer, Payment) for answer in answers) == 1
    assert shop.account.balance == eur("0")


def test_a_voucher_pays_once(shop: Shop) -> None:
    voucher = shop.sell_voucher("30")
    shop.name_a_price("100")

    at_once(*[lambda: shop.redeem(voucher.code)] * 6)

    assert shop.account.balance == eur("70")
    assert voucher_left(voucher) == eur("0")


def test_a_day_is_closed_once_while_others_take_money(shop: Shop) -> None:
    counted = services.Counted(cash=Decimal(0), left=Decimal(0), note="Counted before the rush")

    def close() -> object:
        return services.close_day(
            station_id=shop.cast.tarrow.pk, day=shop.cast.now.date(), counted=counted, **shop.who()
        )

    with without_deadlock():
        answers = at_once(*[close, lambda: shop.pay("2"), lambda: shop.pay("3")] * 4)

    assert sum(isinstance(answer, DayClose) for answer in answers) == 1
    close_row = DayClose.objects.get()
    before = LedgerEntry.objects.filter(day=close_row.day, debit="cash", credit="party")
    assert sum(entry.amount_minor for entry in before) == close_row.expected_minor
    assert numbers() == list(range(1, 9))


def test_an_outing_called_off_while_others_charge_it_leaves_the_fee_alone(shop: Shop) -> None:
    """Half of 50.00, an hour before the start: whoever is first, nothing else stays on the account."""
    services.set_cancel_rule(
        station_id=shop.cast.tarrow.pk, free_hours=2, share_pct=50, missed_pct=100, **shop.who()
    )
    outing = shop.cast.booked(shop.cast.rider("Rill"))[0]
    party = outing.booking.party

    def call_off() -> object:
        return services.cancel_outing(outing_id=outing.pk, missed=False, reason="Ill", **shop.who())

    def charge() -> object:
        return services.charge_due(party_id=party.pk, **shop.who())

    with without_deadlock():
        answers = at_once(*[call_off, charge] * 4)

    assert sum(isinstance(answer, Outing) for answer in answers) == 1
    account = party_account(party, shop.cast.tarrow, now=shop.cast.now)
    assert account.balance == eur("25")
    assert [charge.purpose for charge in account.charges].count("cancel") == 1
