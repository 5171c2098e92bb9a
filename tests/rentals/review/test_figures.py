"""A period's figures: use, months, riders left short, repeated faults; each counted over its months alone."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from rentals.bench.models import Inspection, JobLine
from rentals.dayplan.models import Plan
from rentals.fleet.models import HoldBack
from rentals.lib.problems import NotAllowed, NotVisible
from rentals.lib.tables import Table, Value
from rentals.review.mapping.figures import figures, named
from rentals.review.mapping.period import Period
from rentals.review.models import ModelCost
from rentals.review.queries.facts import facts
from rentals.takings import services as takings
from rentals.takings.models import Charge
from rentals.takings.queries import Wanted
from tests.rentals.review.past import broke, sailed
from tests.rentals.takings.shop import PriceList
from tests.rentals.walk import DAY, HOUR, Walk

JULY = Period(date(2027, 7, 1), date(2027, 8, 1))


def table(cast: Walk, name: str, period: Period = JULY) -> Table:
    (figure,) = named(figures(facts(cast.boss, cast.tarrow, period)), name)
    return figure.table


def row(found: Table, first: str) -> tuple[Value, ...]:
    return next(each for each in found.rows if each[0] == first)


class TestMonths:
    def test_what_went_afloat_and_what_did_not_is_counted_by_month(self, cast: Walk) -> None:
        sailed(cast, [cast.shed["S1"]], at=cast.now - 2 * DAY, hours=1.5)
        sailed(cast, [], at=cast.now - 40 * DAY)
        booked = cast.booked()[0]
        type(booked).objects.filter(pk=booked.pk).update(state="cancelled")

        assert row(table(cast, "months"), "Jul 2027") == ("Jul 2027", 1, 1, 0, 1.5)
        both = table(cast, "months", Period(date(2027, 6, 1), date(2027, 8, 1)))
        assert [each[1] for each in both.rows] == [1, 1]

    def test_a_month_begins_by_the_stations_clock(self, cast: Walk) -> None:
        # Lisbon is an hour before UTC in summer: half past eleven at night in UTC is July already.
        sailed(cast, [], at=datetime(2027, 6, 30, 23, 30, tzinfo=UTC))

        assert row(table(cast, "months"), "Jul 2027")[1] == 1


class TestUse:
    def test_hours_per_item_count_items_that_lay_idle(self, cast: Walk) -> None:
        sailed(cast, [cast.shed["B1"]], at=cast.now - DAY, hours=3)

        found = row(table(cast, "use"), "Bindweed 140–190")

        assert found[2:6] == (2, 1, 3.0, 1.5)

    def test_an_hour_costs_what_was_paid_over_all_hours_so_far(self, cast: Walk) -> None:
        for day in (1, 60):
            sailed(cast, [cast.shed["S1"]], at=cast.now - timedelta(days=day), hours=5)
        broke(cast.shed["S1"], at=cast.now - DAY)
        ModelCost.objects.create(
            station=cast.tarrow,
            model=cast.shed["S1"].model,
            new_cost=Decimal(400),
            fault_cost=Decimal(60),
        )

        found = table(cast, "use")

        assert row(found, "Samphire 5.0")[-1] == Decimal("46.00")
        assert row(found, "Samphire 5.7")[-1] is None
        assert found.columns[-1].endswith("(EUR)")

    def test_a_fault_costs_what_the_bench_noted_where_it_noted_anything(self, cast: Walk) -> None:
        sail = cast.shed["S1"]
        sailed(cast, [sail], at=cast.now - DAY, hours=10)
        noted = broke(sail, at=cast.now - DAY, minutes=20)
        broke(sail, at=cast.now - DAY, minutes=None)
        ModelCost.objects.create(
            station=cast.tarrow,
            model=sail.model,
            new_cost=Decimal(400),
            fault_cost=Decimal(60),
        )
        for cost in ("12.10", "7.90"):
            JobLine.objects.create(
                job=noted,
                at=cast.now,
                kind="parts",
                text="Batten",
                minutes=5,
                cost=Decimal(cost),
                currency="EUR",
            )

        found = row(table(cast, "use"), "Samphire 5.0")

        # 400 new, 20 noted, 60 for the fault without a note, over 10 hours.
        assert found[-3:] == (20 + 2 * 5, "20.00 EUR", Decimal("48.00"))

    def test_sizes_are_told_with_their_hours(self, cast: Walk) -> None:
        sailed(cast, [cast.shed["S3"], cast.shed["D1"]], at=cast.now - DAY, hours=2)

        found = table(cast, "sizes")

        assert row(found, "sail 4.5 m²") == ("sail 4.5 m²", 1, 1, 2.0, 2.0)
        assert [each[0] for each in found.rows][-1] == "board 205 l"


class TestShort:
    def plan(self, cast: Walk, day: date, unserved: list[dict[str, object]], state: str = "accepted") -> None:
        Plan.objects.create(
            station=cast.tarrow,
            day=day,
            number=1,
            state=state,
            inputs={},
            formulas="1",
            asked_at=cast.now,
            result={"unserved": unserved},
            solved_at=cast.now,
            proven=True,
            accepted_at=cast.now,
        )

    def why(self, rule: str, *lacking: str) -> dict[str, object]:
        inputs = [{"name": name, "value": 1, "unit": "more"} for name in lacking]
        return {"demand": "1", "reason": {"rule": rule, "inputs": inputs}}

    def test_riders_are_counted_by_what_was_short(self, cast: Walk) -> None:
        short = self.why("riders by priority", "Samphire 5.0 sail", "Lyme 430 RDM mast")
        self.plan(cast, date(2027, 7, 3), [short, short, self.why("safety veto")])
        self.plan(cast, date(2027, 7, 4), [short])
        self.plan(cast, date(2027, 6, 4), [short])

        found = table(cast, "short")

        assert found.rows == (
            ("no Samphire 5.0 sail and Lyme 430 RDM mast left", 3, 2),
            ("safety veto", 1, 1),
        )
        assert found.says == "4 in 2 planned days."

    def test_plans_that_were_not_accepted_left_nobody_out(self, cast: Walk) -> None:
        self.plan(cast, date(2027, 7, 3), [self.why("safety veto")], state="superseded")

        assert table(cast, "short").rows == ()
        assert "known from day plans only" in table(cast, "short").when_empty


class TestRepeats:
    def test_an_item_with_two_faults_is_named_with_what_broke(self, cast: Walk) -> None:
        for days, fault in ((3, "Torn"), (2, "Torn"), (1, "Batten broken")):
            broke(cast.shed["S1"], at=cast.now - timedelta(days=days), fault=fault)
        broke(cast.shed["S2"], at=cast.now - DAY)

        assert table(cast, "repeats").rows == (
            ("S1", "Samphire 5.0", 3, date(2027, 7, 13), "Torn (2 times); Batten broken"),
        )

    def test_faults_of_other_months_do_not_count(self, cast: Walk) -> None:
        broke(cast.shed["S1"], at=cast.now - DAY)
        broke(cast.shed["S1"], at=cast.now - 60 * DAY)

        assert table(cast, "repeats").rows == ()


class TestInspections:
    def inspect(self, cast: Walk, day: int, *, next_due: date | None, passed: bool = True) -> None:
        Inspection.objects.create(
            item=cast.shed["S1"],
            at=datetime(2027, 7, day, 12, tzinfo=UTC),
            name="panels",
            occasion="periodic",
            passed=passed,
            points=[],
            defects="" if passed else "Torn",
            weighted_s=0,
            rig_ups=0,
            sun_s=0,
            next_due=next_due,
        )

    def test_each_is_held_against_the_day_that_the_one_before_had_set(self, cast: Walk) -> None:
        self.inspect(cast, 1, next_due=date(2027, 7, 5))
        self.inspect(cast, 5, next_due=date(2027, 7, 9))
        self.inspect(cast, 11, next_due=None, passed=False)

        found = table(cast, "inspections")

        assert found.rows == (("sail", 3, 1, 2, 1, 50.0),)
        assert found.says == "1 of 2 that had a due day were made by it."

    def test_what_holds_an_item_back_now_is_overdue(self, cast: Walk) -> None:
        held = {"cause": "inspection", "subject": "panels", "text": "Due 3 days ago", "since": cast.now}
        HoldBack.objects.create(item=cast.shed["S1"], **held)
        HoldBack.objects.create(item=cast.shed["S2"], lifted_at=cast.now, lifted_because="Passed", **held)
        HoldBack.objects.create(item=cast.shed["S3"], **{**held, "cause": "recall"})

        found = table(cast, "overdue", Period(date(2026, 1, 1), date(2026, 2, 1)))

        assert found.rows == (("S1", "Samphire 5.0", "panels", cast.now.date(), "Due 3 days ago"),)


class TestTakings:
    def test_what_outings_brought_is_shared_by_the_hours_afloat(self, cast: Walk) -> None:
        shop = PriceList(cast)
        outing = cast.booked()[0]
        party = outing.booking.party_id
        takings.charge_due(actor=cast.boss, party_id=party, now=cast.now)
        wanted = [Wanted(good="harness", unit="piece", day=cast.now.date())]
        takings.charge_goods(actor=cast.boss, party_id=party, wanted=wanted, now=cast.now)
        sailed(cast, [cast.shed["S1"]], at=cast.now - DAY, hours=4)
        net = {
            bool(charge.outing_id): (charge.gross - charge.tax).amount
            for charge in Charge.objects.filter(station=shop.cast.tarrow)
        }

        found = table(cast, "takings")

        assert net[True] > 0 < net[False]
        assert found.rows == (
            ("Jul 2027", "EUR", net[True] + net[False], net[True], 4.0, round(net[True] / 4, 2)),
        )

    def test_what_was_taken_back_is_no_sale(self, cast: Walk) -> None:
        assert PriceList(cast)
        party = cast.booked()[0].booking.party_id
        takings.charge_due(actor=cast.boss, party_id=party, now=cast.now)
        charge = Charge.objects.get()
        takings.take_back_charge(actor=cast.boss, charge_id=charge.pk, why="No wind", now=cast.now)

        assert [each[2:] for each in table(cast, "takings").rows] == [(Decimal(0), Decimal(0), 0.0, None)]

    def test_without_sales_it_says_so(self, cast: Walk) -> None:
        found = table(cast, "takings")

        assert (found.rows, found.when_empty) == ((), "The ledger has no sales in this time.")


class TestWhoMayLook:
    @pytest.mark.parametrize("name", ["ida", "jory"])
    def test_only_a_manager_may(self, cast: Walk, name: str) -> None:
        with pytest.raises(NotAllowed):
            facts(getattr(cast, name), cast.tarrow, JULY)

    def test_from_elsewhere_there_is_nothing_here(self, cast: Walk) -> None:
        with pytest.raises(NotVisible):
            facts(cast.rhys, cast.tarrow, JULY)

    def test_the_number_of_queries_does_not_grow(self, cast: Walk) -> None:
        actor = cast.boss
        for number in range(3):
            outing = sailed(cast, [cast.shed["S1"], cast.shed["B1"]], at=cast.now - (number + 1) * DAY)
            broke(cast.shed["S1"], at=outing.starts_at + HOUR)

        with CaptureQueriesContext(connection) as queries:
            figures(facts(actor, cast.tarrow, Period(date(2022, 8, 1), date(2027, 8, 1))))

        assert len(queries) == 13


class TestPeriod:
    def test_twelve_months_end_with_this_one(self) -> None:
        assert Period.until(date(2027, 7, 14)) == Period(date(2026, 8, 1), date(2027, 8, 1))

    def test_the_period_before_is_as_long(self) -> None:
        assert JULY.before == Period(date(2027, 6, 1), date(2027, 7, 1))

    def test_it_names_its_months(self) -> None:
        assert str(JULY) == "July 2027"
        assert str(Period.until(date(2027, 7, 14))) == "Aug 2026 to Jul 2027"
