"""A station with prices: what the tests of money start from."""

from dataclasses import asdict
from datetime import date, datetime
from decimal import Decimal
from functools import cached_property
from typing import Any

from rentals.bookings.models import Outing, Party
from rentals.lib.money import Money, money
from rentals.takings import queries, services
from rentals.takings.models import (
    Charge,
    DayClose,
    Good,
    Pass,
    Payment,
    Price,
    Season,
    Tax,
    TaxRate,
    Terms,
    Unit,
    Voucher,
)
from tests.cast import Cast
from tests.rentals.walk import Walk, again

SINCE = date(2027, 1, 1)
LIST: dict[str, dict[str, str]] = {
    "full-kit": {"hour": "25", "half_day": "60", "day": "85", "week": "340", "card": "200"},
    "board": {"hour": "15"},
    "first-lesson": {"piece": "55"},
    "store": {"day": "5", "week": "25", "month": "80", "season": "240"},
    "harness": {"piece": "4.50"},
}
GOODS = [
    services.GoodFacts(
        code="full-kit",
        name="Full kit",
        kind="rental",
        tax="standard",
        included="board, rig, suit and buoyancy aid",
        usual=True,
    ),
    services.GoodFacts(code="board", name="Board alone", kind="rental", tax="standard"),
    services.GoodFacts(code="first-lesson", name="First lesson", kind="lesson", tax="reduced", usual=True),
    services.GoodFacts(code="store", name="Board store", kind="storage", tax="standard", usual=True),
    services.GoodFacts(code="harness", name="Harness", kind="extra", tax="standard"),
]
"""Invented prices."""
TAXES = {"standard": "23", "reduced": "6"}


class PriceList:
    """The price list of Tarrow Lagoon, set by its manager in the morning."""

    def __init__(self, cast: Cast) -> None:
        self.cast = cast
        self.terms = self.keep_terms()
        # Written in bulk: nearly every test of money starts here.
        taxes = {name: Tax.objects.create(station=cast.tarrow, name=name) for name in TAXES}
        TaxRate.objects.bulk_create(
            TaxRate(tax=taxes[name], pct=Decimal(pct), since=SINCE) for name, pct in TAXES.items()
        )
        goods = Good.objects.bulk_create(
            Good(station=cast.tarrow, **{**asdict(facts), "tax": taxes[facts.tax]}) for facts in GOODS
        )
        Price.objects.bulk_create(
            Price(
                good=good,
                unit=unit,
                amount_minor=eur(amount).minor,
                card_hours=10 if unit == "card" else None,
                valid_from=SINCE,
                set_at=cast.now,
            )
            for good in goods
            for unit, amount in LIST[good.code].items()
        )

    def keep_terms(self, **values: Any) -> Terms:
        """Set the money terms: euro, a fee of 5 for each quarter of an hour late after ten minutes."""
        usual: dict[str, Any] = {
            "currency": "EUR",
            "seller_name": "Tarrow Lagoon Windsurf",
            "seller_address": "The Strand, Tarrow",
            "tax_number": "TL 0000 001",
            "late_step": Decimal(5),
            "late_most": Decimal(40),
            "deposit_pct": 20,
            "excess": Decimal(150),
        }
        facts = services.TermsFacts(**{**usual, **values})
        return services.keep_terms(
            actor=self.cast.boss, station_id=self.cast.tarrow.pk, facts=facts, now=self.cast.now
        )

    def set_tax(self, name: str, pct: str, since: date = SINCE) -> None:
        """Set a rate of tax."""
        services.set_tax_rate(
            actor=self.cast.boss,
            station_id=self.cast.tarrow.pk,
            name=name,
            pct=Decimal(pct),
            since=since,
            now=self.cast.now,
        )

    def keep_good(self, facts: services.GoodFacts) -> Good:
        """Put something on the list."""
        return services.keep_good(
            actor=self.cast.boss, station_id=self.cast.tarrow.pk, facts=facts, now=self.cast.now
        )

    def set_price(self, good: str, unit: str, amount: str | None, **values: Any) -> Price:
        """Set a price."""
        usual: dict[str, Any] = {"actor": self.cast.boss, "valid_from": SINCE, "now": self.cast.now}
        return services.set_price(
            station_id=self.cast.tarrow.pk,
            good=good,
            unit=Unit(unit),
            amount=None if amount is None else Decimal(amount),
            **{**usual, **values},
        )

    def keep_season(self, name: str, first: date, last: date, *, now: datetime | None = None) -> Season:
        """Add a season."""
        return services.keep_season(
            actor=self.cast.boss,
            station_id=self.cast.tarrow.pk,
            name=name,
            first_day=first,
            last_day=last,
            now=now or self.cast.now,
        )


class Shop(PriceList):
    """The price list, and a rider's day to be paid for."""

    cast: Walk

    @cached_property
    def outing(self) -> Outing:
        """Wren's time from eleven to one: 50.00 by the list."""
        return again(self.cast.booked()[0])

    @property
    def party(self) -> Party:
        """Wren's party."""
        return self.outing.booking.party

    def who(self, **values: Any) -> dict[str, Any]:
        """Who does something on Wren's account, and when: the manager, now, unless said otherwise."""
        return {"actor": self.cast.boss, "now": self.cast.now, **values}

    def charge(self, **values: Any) -> Party:
        """Charge what Wren's outings cost."""
        return services.charge_due(party_id=self.party.pk, **self.who(**values))

    def name_a_price(self, amount: str = "30", **values: Any) -> Charge:
        """Charge a damage."""
        named = services.Named(text="Fin broken", amount=Decimal(amount), good="harness", why="Ran aground")
        return services.charge_named(party_id=self.party.pk, named=named, **self.who(**values))

    def pay(self, amount: str, method: str = "cash", *, note: str = "", **values: Any) -> Payment:
        """Take a payment."""
        paid = services.Paid(amount=Decimal(amount), method=method, note=note)
        return services.take_payment(party_id=self.party.pk, paid=paid, **self.who(**values))

    def refund(self, amount: str, method: str = "cash", *, note: str = "No wind", **values: Any) -> Payment:
        """Pay back."""
        paid = services.Paid(amount=Decimal(amount), method=method, note=note)
        return services.refund(party_id=self.party.pk, paid=paid, **self.who(**values))

    def hold(self, amount: str, **values: Any) -> Payment:
        """Hold a damage excess."""
        paid = services.Paid(amount=Decimal(amount), method="cash")
        return services.hold_excess(party_id=self.party.pk, paid=paid, **self.who(**values))

    def give_back(self, amount: str, **values: Any) -> Payment:
        """Pay damage excess back."""
        paid = services.Paid(amount=Decimal(amount), method="cash")
        return services.return_excess(party_id=self.party.pk, paid=paid, **self.who(**values))

    def keep(self, amount: str, **values: Any) -> Party:
        """Keep damage excess for what is owed."""
        return services.keep_excess(party_id=self.party.pk, amount=Decimal(amount), **self.who(**values))

    def sell_voucher(self, amount: str = "100", **values: Any) -> Voucher:
        """Sell a voucher."""
        paid = services.Paid(amount=Decimal(amount), method="terminal")
        return services.sell_voucher(party_id=self.party.pk, paid=paid, **self.who(**values))

    def redeem(self, code: str, **values: Any) -> Voucher:
        """Pay with a voucher."""
        return services.redeem(party_id=self.party.pk, code=code, **self.who(**values))

    def sell_card(self, unit: str = "card", **values: Any) -> Pass:
        """Sell Wren a season card, or another pass."""
        usual = {"good": "full-kit", "unit": unit, "first_day": self.cast.now.date()}
        rider = self.cast.wren.pk
        return services.sell_pass(party_id=self.party.pk, rider_id=rider, **self.who(**{**usual, **values}))

    def close(
        self, cash: str, *, left: str = "0", note: str = "", day: date | None = None, **values: Any
    ) -> DayClose:
        """Close today, or another day."""
        counted = services.Counted(cash=Decimal(cash), left=Decimal(left), note=note)
        return services.close_day(
            station_id=self.cast.tarrow.pk,
            day=day or self.cast.now.date(),
            counted=counted,
            **self.who(**values),
        )

    @property
    def account(self) -> queries.PartyAccount:
        """Wren's account as it stands."""
        return queries.party_account(self.party, self.cast.tarrow, now=self.cast.now)


def eur(amount: str) -> Money:
    """Euros."""
    return money(Decimal(amount), "EUR")
