"""What to retire and what to buy, and why."""

from decimal import Decimal

from django.test import Client
from django.urls import reverse

from rentals.dayplan.models import Study
from rentals.dayplan.queries import shelf
from rentals.lib.tables import Table, Value
from rentals.review.mapping.lists import lists
from rentals.review.mapping.period import Period
from rentals.review.models import ModelCost
from rentals.review.queries.facts import facts
from rentals.review.queries.life import kit_lives
from tests.rentals.browser import signed_in
from tests.rentals.review.past import broke, used
from tests.rentals.walk import DAY, Walk


def tables(cast: Walk) -> tuple[Table, Table]:
    known = facts(cast.boss, cast.tarrow, Period.until(cast.now.date()))
    lives = kit_lives(cast.boss, cast.tarrow, now=cast.now)
    retire, buy = lists(lives, known, shelf(cast.tarrow).bought)
    return retire.table, buy.table


def cost(cast: Walk, tag: str, new: int, fault: int) -> None:
    ModelCost.objects.create(
        station=cast.tarrow,
        model=cast.shed[tag].model,
        new_cost=Decimal(new),
        fault_cost=Decimal(fault),
    )


def study(cast: Walk, *purchases: dict[str, object]) -> None:
    Study.objects.create(
        station=cast.tarrow,
        first_day=cast.now.date(),
        last_day=cast.now.date(),
        state="ready",
        asked_at=cast.now,
        done_at=cast.now,
        days={},
        result={"purchases": list(purchases), "others_points": 0, "days": 1, "short": 1},
    )


def a_purchase(name: str, riders: int, *days: str) -> dict[str, object]:
    return {
        "kind": "sails",
        "name": name,
        "riders": riders,
        "points": 5 * riders,
        "mismatch": 0,
        "days": list(days),
        "sure": True,
    }


class TestRetire:
    def test_an_item_past_the_age_of_least_cost_is_listed_with_its_records(self, cast: Walk) -> None:
        used(cast, cast.shed["B1"], hours=[4, 2, 0.5, 0.5, 0.5], faults_after=[2, 3, 4])
        cost(cast, "B1", new=1, fault=500)

        (row,) = tables(cast)[0].rows

        assert row[:2] == ("B1", "Bindweed 140–190")
        assert "the age of least cost by 3 faults in 4 records" in str(row[3])
        assert row[4] == 1

    def test_an_item_that_breaks_again_and_again_is_listed_whatever_its_age(self, cast: Walk) -> None:
        for days in (1, 2, 3, 4):
            broke(cast.shed["S1"], at=cast.now - days * DAY)

        (row,) = tables(cast)[0].rows

        assert (row[0], row[3]) == ("S1", "4 faults in these months.")

    def test_what_is_withdrawn_already_is_not(self, cast: Walk) -> None:
        for days in (1, 2, 3, 4):
            broke(cast.shed["S1"], at=cast.now - days * DAY)
        type(cast.shed["S1"]).objects.update(state="withdrawn")

        assert tables(cast)[0].rows == ()


class TestBuy:
    def test_what_would_have_served_riders_is_listed_with_its_price(self, cast: Walk) -> None:
        cost(cast, "S1", new=420, fault=60)
        study(cast, a_purchase("Samphire 5.0", 3, "2027-07-03", "2027-07-04"), a_purchase("Thrift 4.5", 0))

        found: tuple[tuple[Value, ...], ...] = tables(cast)[1].rows

        assert found == (("Samphire 5.0", "sail", 3, 2, "3 riders more, on 2 days.", Decimal(420)),)

    def test_without_a_study_the_page_says_so(self, cast: Walk) -> None:
        browser: Client = signed_in(cast.manager)

        page = browser.get(reverse("review-lists", args=[cast.tarrow.slug])).content.decode()

        assert "No study of the day plans" in page

    def test_both_come_as_csv(self, cast: Walk) -> None:
        browser = signed_in(cast.manager)

        for name, code in (("retire", 200), ("buy", 200), ("sell", 404)):
            assert browser.get(reverse("review-lists-csv", args=[cast.tarrow.slug, name])).status_code == code
