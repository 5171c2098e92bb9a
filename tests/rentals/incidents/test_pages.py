"""Pages of incidents: who sees them, what they ask the rows, and that nothing typed is lost."""

import csv
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.incidents import services
from rentals.incidents.models import Incident, Telling
from rentals.lib import clock
from tests.rentals.browser import Form, protected, signed_in
from tests.rentals.incidents.tell import reported
from tests.rentals.walk import Walk

MOST_QUERIES = 12


@pytest.fixture(autouse=True)
def _at(cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: cast.now)


def url(cast: Walk, name: str, *args: object) -> str:
    return reverse(name, args=[cast.tarrow.slug, *args])


def typed(**other: Any) -> dict[str, Any]:
    """A near miss of half an hour ago as it is typed."""
    usual = {
        "kind": "near_miss",
        "severity": "none",
        "cause": "kit_failed",
        "day": "2027-07-14",
        "time": "09:30",
        "words": "The boom came off; the rider swam in.",
    }
    return {**usual, **other}


PAGES = [
    ("incidents", lambda cast: [], 2),
    ("report-incident", lambda cast: [], 2),
    ("incident", lambda cast: [reported(cast, "S1").pk], 4),
    ("correct-incident", lambda cast: [reported(cast, "S1").pk], 6),
]


@pytest.mark.parametrize(("name", "of", "asks"), PAGES, ids=[page[0] for page in PAGES])
class TestEachPage:
    def test_everybody_of_the_station_sees_it_protected(
        self, cast: Walk, name: str, of: Any, asks: int
    ) -> None:
        address = url(cast, name, *of(cast))

        for user in (cast.desk, cast.instructor, cast.manager):
            response = signed_in(user).get(address)
            assert response.status_code == 200
            protected(response.headers)

    def test_to_a_stranger_it_does_not_exist(self, cast: Walk, name: str, of: Any, asks: int) -> None:
        assert signed_in(cast.neighbour).get(url(cast, name, *of(cast))).status_code == 404

    def test_its_rows_do_not_show_under_another_station(
        self, cast: Walk, name: str, of: Any, asks: int
    ) -> None:
        rows = of(cast)
        answer = signed_in(cast.instructor).get(reverse(name, args=[cast.kettle.slug, *rows]))

        assert answer.status_code == (404 if rows else 200)

    def test_it_asks_little(self, cast: Walk, name: str, of: Any, asks: int) -> None:
        address, client = url(cast, name, *of(cast)), signed_in(cast.desk)

        with CaptureQueriesContext(connection) as queries:
            assert client.get(address).status_code == 200

        assert len(queries) <= 4 + asks <= MOST_QUERIES


class TestReporting:
    def test_it_names_the_rescue_service_first(self, cast: Walk) -> None:
        page = signed_in(cast.desk).get(url(cast, "report-incident")).content.decode()

        assert page.index(cast.tarrow.rescue_number) < page.index('<form method="post" novalidate')

    def test_of_an_outing_its_kit_is_offered_as_ticks(self, cast: Walk) -> None:
        outing = cast.out()
        address = f"{url(cast, 'report-incident')}?outing={outing.pk}"
        client = signed_in(cast.desk)
        boom = cast.shed["B1"]

        assert not Form(client.get(address)).ticked(f"item_{boom.pk}")
        answer = client.post(address, typed(outing=outing.pk, **{f"item_{boom.pk}": "on"}))

        telling = Telling.objects.get()
        assert answer["Location"] == url(cast, "incident", telling.incident_id)
        assert (telling.outing, telling.rider, cast.state_of("B1")) == (outing, outing.rider, "held_back")

    def test_others_are_named_by_tag_in_any_case(self, cast: Walk) -> None:
        assert cast.shed
        signed_in(cast.desk).post(url(cast, "report-incident"), typed(tags="s1, M1"))

        assert {cast.state_of("S1"), cast.state_of("M1")} == {"held_back"}

    def test_an_unknown_tag_is_said_and_nothing_typed_is_lost(self, cast: Walk) -> None:
        answer = signed_in(cast.desk).post(url(cast, "report-incident"), typed(tags="S1 Q9", place="Jetty"))

        form = Form(answer)
        assert answer.status_code == 422
        assert form.said("tags") == "There is no item S1, Q9 here. Check the tag."
        assert (form.value("place"), form.value("kind")) == ("Jetty", "near_miss")

    @pytest.mark.parametrize(
        ("field", "written", "said"),
        [
            ("time", "10:01", "not in the future"),
            ("time", "noonish", "Enter a time such as 14:30."),
            ("words", " ", "This is needed."),
            ("kind", "", "This is needed."),
        ],
    )
    def test_what_is_off_is_said_beside_its_field(
        self, cast: Walk, field: str, written: str, said: str
    ) -> None:
        answer = signed_in(cast.desk).post(url(cast, "report-incident"), typed(**{field: written}))

        assert said in Form(answer).said(field)

    def test_a_double_tap_reports_once(self, cast: Walk) -> None:
        client = signed_in(cast.desk)
        once = Form(client.get(url(cast, "report-incident"))).value("once")

        for _tap in range(2):
            client.post(url(cast, "report-incident"), typed(once=once))

        assert Incident.objects.count() == 1

    @pytest.mark.parametrize("outing", ["x", "²", "9" * 30, "-1"])
    def test_an_address_that_names_no_outing_is_a_report_of_none(self, cast: Walk, outing: str) -> None:
        answer = signed_in(cast.desk).get(url(cast, "report-incident"), {"outing": outing})

        assert answer.status_code == 200


class TestCorrecting:
    def test_it_starts_from_what_was_told(self, cast: Walk) -> None:
        incident = reported(cast, place="Jetty")
        form = Form(signed_in(cast.desk).get(url(cast, "correct-incident", incident.pk)))

        assert (form.value("place"), form.value("time"), form.value("version")) == ("Jetty", "09:30", "1")

    def test_both_tellings_stand_on_the_page(self, cast: Walk) -> None:
        incident = reported(cast)
        client = signed_in(cast.desk)
        client.post(
            url(cast, "correct-incident", incident.pk),
            typed(words="The clamp slipped.", why="Heard the rider", version="1"),
        )

        page = client.get(url(cast, "incident", incident.pk)).content.decode()
        for words in ("The clamp slipped.", "The boom came off the mast", "Heard the rider"):
            assert words in page


class TestClosing:
    def test_a_manager_closes_and_opens_again(self, cast: Walk) -> None:
        incident = reported(cast)
        client, address = signed_in(cast.manager), url(cast, "incident", incident.pk)

        for word in ("closed", "open"):
            client.post(address, {"which": "turn", "turn-words": "New clamps"})
            page = client.get(url(cast, "incidents")).content.decode()
            assert f"tag-{word}" in page

    def test_the_desk_is_not_offered_it(self, cast: Walk) -> None:
        page = signed_in(cast.desk).get(url(cast, "incident", reported(cast).pk)).content.decode()

        assert "Close the incident" not in page

    def test_a_note_is_added(self, cast: Walk) -> None:
        address = url(cast, "incident", reported(cast).pk)
        client = signed_in(cast.desk)
        client.post(address, {"which": "note", "note-words": "Rang the rider"})

        assert "Rang the rider" in client.get(address).content.decode()


class TestExport:
    def test_it_is_a_table_without_names(self, cast: Walk) -> None:
        reported(cast, "S1", witness="Moss Hazel", rider_id=cast.wren.pk)
        answer = signed_in(cast.desk).get(url(cast, "incidents-export"))

        (row,) = csv.DictReader(answer.content.decode().splitlines())
        assert (row["kind"], row["item_kinds"], row["age"]) == ("near_miss", "sail", "30 to 44")
        assert "Moss" not in answer.content.decode()
        protected(answer.headers)


def test_a_list_asks_no_more_for_more_incidents(cast: Walk) -> None:
    client, address = signed_in(cast.desk), url(cast, "incidents")
    for _more in range(4):
        incident = reported(cast)
    services.close_incident(actor=cast.boss, incident_id=incident.pk, words="Done", now=cast.now)

    with CaptureQueriesContext(connection) as queries:
        assert client.get(address).status_code == 200

    assert len(queries) == 6  # who and where, tellings, turns
