"""The review's pages: who sees them, what is drawn and given as CSV, what is refused."""

import csv
import re
from decimal import Decimal
from io import StringIO

import pytest
from bs4 import BeautifulSoup
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.review.models import ModelCost
from rentals.stations.models import Station
from tests.rentals.browser import Form, protected, signed_in
from tests.rentals.review.past import broke, sailed, used
from tests.rentals.walk import DAY, Walk

PAGES = ("review", "month-report", "review-lists", "life", "model-life")
COSTS = {"new_cost": "420,50", "fault_cost": "60"}


def url(cast: Walk, name: str, *more: object) -> str:
    of_a_model = [cast.shed["S1"].model_id] if name.startswith("model-life") else []
    return reverse(name, args=[cast.tarrow.slug, *of_a_model, *more])


def worn(cast: Walk) -> None:
    used(cast, cast.shed["S1"], hours=[1, 2, 1, 1], faults_after=[1, 2, 3])


@pytest.mark.parametrize("name", PAGES)
def test_a_manager_sees_it_protected(cast: Walk, name: str) -> None:
    worn(cast)

    response = signed_in(cast.manager).get(url(cast, name))

    assert response.status_code == 200
    protected(response.headers)


@pytest.mark.parametrize(
    ("name", "code"),
    [("review", 403), ("month-report", 403), ("review-lists", 403), ("life", 200), ("model-life", 200)],
)
def test_an_instructor_sees_the_life_alone(cast: Walk, name: str, code: int) -> None:
    assert signed_in(cast.instructor).get(url(cast, name)).status_code == code


@pytest.mark.parametrize("name", PAGES)
def test_the_desk_sees_none_and_a_stranger_finds_none(cast: Walk, name: str) -> None:
    assert signed_in(cast.desk).get(url(cast, name)).status_code == 403
    assert signed_in(cast.neighbour).get(url(cast, name)).status_code == 404


@pytest.mark.parametrize(
    ("name", "most"),
    [("review", 17), ("month-report", 17), ("review-lists", 24), ("life", 10), ("model-life", 11)],
)
def test_it_asks_a_bounded_number_of_queries(cast: Walk, name: str, most: int) -> None:
    worn(cast)
    browser, address = signed_in(cast.manager), url(cast, name)

    with CaptureQueriesContext(connection) as queries:
        browser.get(address)

    assert len(queries) <= most


@pytest.mark.parametrize("name", ["review", "month-report", "model-life"])
def test_a_chart_has_its_words_its_table_and_no_style(cast: Walk, name: str) -> None:
    worn(cast)

    page = BeautifulSoup(signed_in(cast.manager).get(url(cast, name)).content, "html.parser")

    charts = page.select("svg[role=img]")
    assert charts
    for chart in charts:
        labels = [chart["aria-labelledby"], chart["aria-describedby"]]
        assert all(page.find(id=label) is not None for label in labels)
    assert not page.select("[style], style, svg script")
    assert page.select("section.figure table")


@pytest.mark.parametrize("name", ["months", "sizes", "use", "short", "incidents", "inspections", "repeats"])
def test_every_figure_comes_as_csv(cast: Walk, name: str) -> None:
    worn(cast)

    response = signed_in(cast.manager).get(
        url(cast, "review-csv", name), {"since": "2027-06", "until": "2027-07"}
    )

    rows = list(csv.reader(StringIO(response.content.decode())))
    assert response.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert f"tarrow-lagoon-{name}-2027-06-2027-07.csv" in response.headers["Content-Disposition"]
    assert len({len(row) for row in rows}) == 1


def test_lives_come_as_csv(cast: Walk) -> None:
    worn(cast)
    browser = signed_in(cast.manager)

    for address in (
        url(cast, "life-csv"),
        url(cast, "model-life-csv", "items"),
        url(cast, "model-life-csv", "hazard"),
    ):
        assert len(list(csv.reader(StringIO(browser.get(address).content.decode())))) > 1
    assert browser.get(url(cast, "model-life-csv", "fate")).status_code == 404
    assert browser.get(url(cast, "review-csv", "fate")).status_code == 404


def test_too_few_records_are_said_in_place_of_figures(cast: Walk) -> None:
    broke(cast.shed["S1"], at=cast.now - DAY)

    page = signed_in(cast.manager).get(url(cast, "model-life")).content.decode()

    assert "No hours on the water are on record yet." in page
    assert "<svg" not in page


def test_months_are_looked_at_as_asked(cast: Walk) -> None:
    sailed(cast, [], at=cast.now - 40 * DAY)

    page = signed_in(cast.manager).get(url(cast, "review"), {"since": "2027-06", "until": "2027-06"})

    assert "1 launch," in re.sub(r"\s+", " ", page.content.decode())
    assert "Review, June 2027" in page.content.decode()


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"since": "June"}, "since"),
        ({"since": "2027-13"}, "since"),
        ({"since": "1066-10"}, "since"),
        ({"since": "2027-07", "until": "2027-06"}, "until"),
        ({"since": "2007-07", "until": "2027-06"}, "until"),
    ],
)
def test_months_that_cannot_be_are_said_beside_their_field(
    cast: Walk, asked: dict[str, str], field: str
) -> None:
    response = signed_in(cast.manager).get(url(cast, "review"), asked)

    assert response.status_code == 422
    assert Form(response).said(field).startswith("Enter")
    assert Form(response).value(field) == asked[field]


class TestCosts:
    def test_they_are_kept_and_give_an_age_of_retirement(self, cast: Walk) -> None:
        worn(cast)
        browser = signed_in(cast.manager)

        assert browser.post(url(cast, "model-life"), COSTS).status_code == 302

        cost = ModelCost.objects.get()
        assert (cost.new_cost, cost.fault_cost, cost.currency) == (Decimal("420.50"), Decimal(60), "EUR")
        page = browser.get(url(cast, "model-life")).content.decode()
        assert "Retire at" in page or "Keep until beyond mending" in page

    def test_setting_them_again_changes_them(self, cast: Walk) -> None:
        browser = signed_in(cast.manager)
        for new in ("400", "500"):
            browser.post(url(cast, "model-life"), {**COSTS, "new_cost": new})

        assert ModelCost.objects.get().new_cost == 500

    def test_an_instructor_may_not(self, cast: Walk) -> None:
        response = signed_in(cast.instructor).post(url(cast, "model-life"), COSTS)

        assert response.status_code == 403
        assert not ModelCost.objects.exists()

    @pytest.mark.parametrize(
        ("field", "typed"),
        [
            ("new_cost", "0"),
            ("new_cost", "a lot"),
            ("fault_cost", "-5"),
            ("fault_cost", "1.005"),
            ("fault_cost", ""),
        ],
    )
    def test_what_cannot_be_is_said_beside_its_field_and_stays_typed(
        self, cast: Walk, field: str, typed: str
    ) -> None:
        response = signed_in(cast.manager).post(url(cast, "model-life"), {**COSTS, field: typed})

        assert response.status_code == 422
        assert Form(response).said(field)
        assert Form(response).value(field) == typed
        assert not ModelCost.objects.exists()

    def test_they_are_in_the_currency_of_the_station(self, cast: Walk) -> None:
        Station.objects.filter(pk=cast.tarrow.pk).update(currency="SEK")

        signed_in(cast.manager).post(url(cast, "model-life"), COSTS)

        assert ModelCost.objects.get().currency == "SEK"
