"""First steps: what a new station still wants, and where a manager gives it."""

from datetime import datetime

import pytest
from bs4 import BeautifulSoup
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.dayplan.models import Crew
from rentals.desk.queries import first_steps
from rentals.lib import clock
from rentals.people.models import Posting, User
from tests.rentals.browser import signed_in
from tests.rentals.takings.shop import PriceList
from tests.rentals.walk import DAY, Walk

SET_UP = ("prices", "safety", "rig-crew", "intervals", "shed", "first-steps")


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


def done(cast: Walk) -> set[str]:
    return {step.name for step in first_steps(cast.tarrow, cast.now.date()) if step.done}


def links(user: User, url: str) -> set[str]:
    page = BeautifulSoup(signed_in(user).get(url).content, "html.parser")
    return {str(link["href"]) for link in page.select("main a[href]")}


def test_an_empty_station_wants_everything(cast: Walk) -> None:
    assert done(cast) == set()


def test_what_was_given_is_done(cast: Walk) -> None:
    assert cast.instructor
    assert cast.shed
    PriceList(cast)
    cast.blow()
    Crew.objects.create(station=cast.tarrow, hands=3, rig_min=12, lead_min=45)

    assert done(cast) == {"Staff", "Kit", "Prices", "Wind", "Rig-up crew"}


def test_an_instructor_who_left_leaves_the_step_to_do(cast: Walk) -> None:
    assert cast.instructor
    Posting.objects.update(since=cast.now.date() - 2 * DAY, until=cast.now.date() - DAY)

    assert "Staff" not in done(cast)


def test_it_asks_once(cast: Walk) -> None:
    station, day = cast.tarrow, cast.now.date()

    with CaptureQueriesContext(connection) as queries:
        first_steps(station, day)

    assert len(queries) == 1


def test_every_step_leads_a_manager_to_a_page(cast: Walk) -> None:
    client, url = signed_in(cast.manager), reverse("first-steps", args=[cast.tarrow.slug])

    for link in links(cast.manager, url):
        assert client.get(link).status_code == 200, link


def test_today_without_kit_leads_there_and_with_kit_does_not(cast: Walk) -> None:
    today, steps = (reverse(name, args=[cast.tarrow.slug]) for name in ("today", "first-steps"))

    assert steps in links(cast.desk, today)
    assert cast.shed
    assert steps not in links(cast.desk, today)


def test_the_station_page_leads_to_whatever_is_set_elsewhere(cast: Walk) -> None:
    found = links(cast.manager, reverse("station", args=[cast.tarrow.slug]))

    assert found >= {reverse(name, args=[cast.tarrow.slug]) for name in SET_UP}
    assert reverse("check-list", args=[cast.tarrow.slug, "launch"]) in found


def test_every_link_of_the_station_page_may_be_followed(cast: Walk) -> None:
    client = signed_in(cast.desk)

    for link in links(cast.desk, reverse("station", args=[cast.tarrow.slug])):
        assert client.get(link).status_code == 200, link
