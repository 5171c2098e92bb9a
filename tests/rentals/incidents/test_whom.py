"""Whom an incident is about: those of this moment are on offer, and nobody becomes unreportable."""

from datetime import timedelta
from typing import Any

import pytest
from bs4 import BeautifulSoup
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.bookings.models import Outing
from rentals.incidents import queries
from rentals.incidents.models import Incident, Telling
from rentals.incidents.queries.whom import MOST_OFFERED
from rentals.lib import clock
from rentals.people.models import Rider
from tests.rentals.browser import Form, signed_in
from tests.rentals.busy import fill
from tests.rentals.incidents.test_pages import typed, url
from tests.rentals.walk import DAY, Walk

MANY = 3 * (MOST_OFFERED + 2)


@pytest.fixture(autouse=True)
def _at(cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: cast.now)


@pytest.fixture
def crowd(cast: Walk) -> list[Outing]:
    """So many riders that no list holds them: a third afloat, a third back, a third about to come."""
    fill(cast, MANY)
    for number, outing in enumerate(Outing.objects.order_by("id")):
        apart = number * timedelta(seconds=1)
        ashore_at = outing.ashore_at and outing.ashore_at + apart
        Outing.objects.filter(pk=outing.pk).update(ends_at=outing.ends_at + apart, ashore_at=ashore_at)
    return list(Outing.objects.order_by("id"))


def whom(cast: Walk, **asked: Any) -> queries.Whom:
    usual = {"named": "", "outing_id": None, "rider_id": None, "now": cast.now}
    return queries.whom(cast.actor(cast.desk), cast.tarrow, **{**usual, **asked})


def offered(answer: Any, field: str) -> set[str]:
    select = BeautifulSoup(answer.content, "html.parser").find("select", {"name": field})
    assert select is not None
    return {str(option["value"]) for option in select.find_all("option")} - {""}


class TestASmallStation:
    def test_everybody_is_on_offer_and_nothing_is_said_to_be_missing(self, cast: Walk) -> None:
        outing = cast.out()
        page = signed_in(cast.desk).get(url(cast, "report-incident"))

        assert offered(page, "outing") == {str(outing.pk)}
        assert offered(page, "rider") == {str(each.pk) for each in Rider.objects.filter(station=cast.tarrow)}
        assert whom(cast).words == ""


class TestACrowd:
    def test_those_due_first_and_those_ashore_last_come_first(self, cast: Walk, crowd: list[Outing]) -> None:
        (afloat, on_water), (ashore, back) = whom(cast).outings

        assert (afloat, ashore) == ("Afloat", "Ashore, or not gone out")
        assert [pk for pk, _ in on_water] == [str(each.pk) for each in crowd[0::3][:MOST_OFFERED]]
        assert [pk for pk, _ in back] == [str(each.pk) for each in crowd[-2::-3][:MOST_OFFERED]]

    def test_it_says_how_many_are_left_out_and_how_to_find_them(
        self, cast: Walk, crowd: list[Outing]
    ) -> None:
        found = whom(cast)
        shown = sum(len(rows) for _, rows in found.outings)

        assert f"{MANY - shown} of {MANY} outings of the last two days" in found.words
        assert f"{Rider.objects.count() - len(found.riders)} of {Rider.objects.count()} riders" in found.words
        assert "Find them by name" in found.words

    def test_everybody_can_be_found_by_name_and_reported(self, cast: Walk, crowd: list[Outing]) -> None:
        client, address = signed_in(cast.desk), url(cast, "report-incident")
        for outing in crowd:
            found = client.post(address, typed(find="1", looked_for=str(outing.rider)))
            assert str(outing.pk) in offered(found, "outing")
            assert str(outing.rider_id) in offered(found, "rider")
            client.post(address, typed(looked_for=str(outing.rider), outing=str(outing.pk)))

        assert {telling.outing_id for telling in Telling.objects.all()} == {each.pk for each in crowd}

    def test_it_asks_as_little_as_for_few(self, cast: Walk, crowd: list[Outing]) -> None:
        back_first, client = crowd[1], signed_in(cast.desk)
        address = f"{url(cast, 'report-incident')}?outing={back_first.pk}"
        with CaptureQueriesContext(connection) as asked:
            assert client.get(address).status_code == 200

        # Who and where, the outing, its kit, outings, riders, and the two that are chosen.
        assert len(asked) == 4 + 1 + 1 + 1 + 1 + 2

    def test_of_many_who_are_named_alike_it_asks_for_more_of_the_name(
        self, cast: Walk, crowd: list[Outing]
    ) -> None:
        found = whom(cast, named="rider")

        assert len(found.riders) == MOST_OFFERED
        assert found.words.endswith("Write more of the name.")


class TestFinding:
    def test_nothing_typed_is_lost_and_nothing_is_reported(self, cast: Walk, crowd: list[Outing]) -> None:
        address = f"{url(cast, 'report-incident')}?outing={crowd[0].pk}"
        client = signed_in(cast.desk)
        once = Form(client.get(address)).value("once")
        sent = typed(find="1", looked_for="Rider 1", place="Jetty", once=once, rider=str(cast.wren.pk))
        form = Form(client.post(address, sent))

        assert not Incident.objects.exists()
        assert (form.value("place"), form.value("once"), form.value("kind")) == ("Jetty", once, "near_miss")
        assert (form.value("rider"), form.summary) == (str(cast.wren.pk), "")

    def test_an_outing_of_any_day_is_found(self, cast: Walk) -> None:
        outing = cast.out()
        cast.now += 90 * DAY

        assert not whom(cast, named="nobody").outings
        assert [pk for _, rows in whom(cast, named=str(outing.rider)).outings for pk, _ in rows] == [
            str(outing.pk)
        ]

    def test_a_name_that_nobody_has_is_said(self, cast: Walk) -> None:
        assert whom(cast, named="Zostera").words == "Nobody here has a name like “Zostera”."

    def test_a_name_without_a_choice_is_not_passed_over(self, cast: Walk) -> None:
        answer = signed_in(cast.desk).post(url(cast, "report-incident"), typed(looked_for="Wren"))

        assert answer.status_code == 422
        assert Form(answer).said("looked_for").startswith("Choose an outing or a rider")
        assert not Incident.objects.exists()

    def test_riders_of_another_station_are_not_found(self, cast: Walk) -> None:
        outing = cast.out()
        Outing.objects.filter(pk=outing.pk).update(station=cast.kettle)
        Rider.objects.filter(pk=outing.rider_id).update(station=cast.kettle)
        name = str(outing.rider)

        assert not whom(cast, named=name).outings
        assert not whom(cast, named=name, outing_id=outing.pk, rider_id=outing.rider_id).outings
        answer = signed_in(cast.desk).post(url(cast, "report-incident"), typed(outing=str(outing.pk)))
        assert answer.status_code == 422

    def test_those_who_are_yet_to_come_are_not_on_offer(self, cast: Walk) -> None:
        (outing,) = cast.booked(cast.wren, hour=15)

        assert cast.now < outing.starts_at - timedelta(hours=1)
        assert not whom(cast).outings


def test_a_correction_finds_by_name_too(cast: Walk, crowd: list[Outing]) -> None:
    client = signed_in(cast.desk)
    made = client.post(url(cast, "report-incident"), typed())
    address = f"{made['Location']}correct/"
    last = crowd[-2]

    found = client.post(address, typed(find="1", looked_for=str(last.rider), version="1"))
    assert str(last.pk) in offered(found, "outing")
    client.post(address, typed(outing=str(last.pk), why="Heard who it was", version="1"))

    assert Telling.objects.get(version=2).outing_id == last.pk
    assert address == reverse("correct-incident", args=[cast.tarrow.slug, Incident.objects.get().pk])
