"""Checks kept ready on a device, and when a check counts that waited there for the connection."""

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from rentals.afloat.models import LaunchCheck
from rentals.audit.models import Entry
from rentals.bench.models import ReturnCheck
from rentals.bookings.models import Outing
from rentals.checklists.services import Written, keep_list
from rentals.lib import clock
from tests.cast import points
from tests.rentals.browser import Form, protected, signed_in
from tests.rentals.walk import Walk, again

READY = "/checks-ready/"
HALF_AN_HOUR = timedelta(minutes=30)
CLOCKS = {"set back meanwhile": -60, "set by a day meanwhile": 86_400}
"""What a device says that its clock made of the wait."""


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


def sheet(client: Client) -> Form:
    return Form(client.get(READY))


def form_of(page: Form, address: str) -> dict[str, str]:
    """What a form of the sheet sends when every box in it is ticked."""
    (form,) = page.page.find_all("form", {"action": address})
    fields = form.find_all("input")
    return {str(each["name"]): str(each.get("value", "on")) for each in fields if each["type"] != "text"}


def place(cast: Walk, outing: Outing, check: str) -> str:
    return reverse(f"{check}-check", args=[cast.tarrow.slug, outing.pk])


def told(outing: Outing) -> list[str]:
    return list(Entry.objects.about("outing", outing.pk).values_list("text", flat=True))


class TestTheSheet:
    def test_it_holds_the_checks_due_today_and_those_alone(self, cast: Walk) -> None:
        due, out = cast.issued(), cast.rider("Bo Reed")
        booked = cast.booked(out, hour=15)[0]
        page = sheet(signed_in(cast.instructor)).page

        assert [str(each["data-url"]) for each in page.find_all("details")] == [place(cast, due, "launch")]
        assert f"outing {booked.pk}" not in page.get_text()

    def test_afloat_it_is_the_return_check(self, cast: Walk) -> None:
        outing = cast.out()
        page = sheet(signed_in(cast.desk)).page

        assert [str(each["data-url"]) for each in page.find_all("details")] == [place(cast, outing, "return")]

    def test_whoever_may_not_let_riders_go_gets_no_launch_check(self, cast: Walk) -> None:
        cast.issued()

        assert sheet(signed_in(cast.desk)).page.find_all("details") == []

    @pytest.mark.parametrize("stage", ["issued", "out"])
    def test_it_names_nobody(self, cast: Walk, stage: str) -> None:
        getattr(cast, stage)()
        answer = signed_in(cast.instructor).get(READY)

        assert "S2" in answer.content.decode()
        for private in ("Wren", "Alder", "0700", "Jory", "advanced"):
            assert private not in answer.content.decode(), private

    def test_the_station_s_own_lists_stand_in_it(self, cast: Walk) -> None:
        outing = cast.out()
        lines = [Written(kind="rider", text="Asked about the reef")]
        keep_list(
            actor=cast.boss, station_id=cast.tarrow.pk, check="return", lines=lines, version=0, now=cast.now
        )
        page = sheet(signed_in(cast.desk))

        assert "Asked about the reef" in page.page.get_text()
        assert form_of(page, place(cast, outing, "return"))["list_version"] == "1"

    def test_each_time_it_is_fetched_its_checks_have_keys_of_their_own(self, cast: Walk) -> None:
        address, client = place(cast, cast.out(), "return"), signed_in(cast.desk)
        keys = {form_of(sheet(client), address)["once"] for _fetch in range(2)}

        assert len(keys) == 2

    def test_it_is_of_the_person_s_stations_and_kept_by_no_cache(self, cast: Walk) -> None:
        cast.out()
        answer = signed_in(cast.neighbour).get(READY)

        assert Form(answer).page.find_all("details") == []
        protected(answer.headers)
        assert "no-store" in answer.headers["Cache-Control"]

    def test_signed_out_it_leads_to_the_sign_in(self, client: Client) -> None:
        assert client.get(READY).headers["Location"].startswith(reverse("sign-in"))

    def test_it_asks_the_database_as_often_for_many_as_for_one(
        self, cast: Walk, django_assert_num_queries: object
    ) -> None:
        cast.out()
        client = signed_in(cast.desk)

        # Session, user, postings; stations; then outings, kit and two lists of the one station.
        with django_assert_num_queries(8):  # type: ignore[operator]
            client.get(READY)


class TestALaunchCheckFromTheSheet:
    def tick(self, cast: Walk, outing: Outing, **more: str) -> None:
        client, address = signed_in(cast.instructor), place(cast, outing, "launch")
        client.post(address, {**form_of(sheet(client), address), "launch": "1", **more})

    def test_it_lets_the_rider_go_as_of_when_it_was_ticked(self, cast: Walk) -> None:
        outing = cast.issued()
        self.tick(cast, outing, waited_s="1800")

        check = LaunchCheck.objects.get(passed=True)
        assert (check.at, check.ticked_at) == (cast.now, cast.now - HALF_AN_HOUR)
        assert (again(outing).state, again(outing).launched_at) == ("afloat", cast.now - HALF_AN_HOUR)
        ticked = f"{cast.tarrow.local(cast.now - HALF_AN_HOUR):%H:%M}"
        assert any(f"(ticked {ticked} on a device without a connection)" in text for text in told(outing))

    def test_every_point_of_the_list_is_in_it(self, cast: Walk) -> None:
        outing = cast.issued()
        self.tick(cast, outing)

        check = LaunchCheck.objects.get()
        assert {point["key"] for point in check.points if point["passed"]} == set(
            points(part.part for part in cast.kit_of(outing))
        )

    @pytest.mark.parametrize("waited_s", CLOCKS.values(), ids=CLOCKS)
    def test_where_the_clock_cannot_be_right_its_arrival_counts_and_is_said(
        self, cast: Walk, waited_s: int
    ) -> None:
        outing = cast.issued()
        self.tick(cast, outing, waited_s=str(waited_s))

        assert LaunchCheck.objects.get().ticked_at is None
        assert again(outing).launched_at == cast.now
        assert any("cannot be right: the time it came counts" in text for text in told(outing))

    @pytest.mark.parametrize("waited_s", ["", "soon", "NaN", "1e3"])
    def test_one_that_says_nothing_of_a_wait_came_at_once(self, cast: Walk, waited_s: str) -> None:
        outing = cast.issued()
        self.tick(cast, outing, waited_s=waited_s)

        assert (LaunchCheck.objects.get().ticked_at, again(outing).launched_at) == (None, cast.now)
        assert not any("device" in text for text in told(outing))

    def test_sent_again_with_a_longer_wait_it_counts_once(self, cast: Walk) -> None:
        outing = cast.issued()
        client, address = signed_in(cast.instructor), place(cast, outing, "launch")
        form = {**form_of(sheet(client), address), "launch": "1"}
        for waited_s in ("60", "75"):
            assert client.post(address, {**form, "waited_s": waited_s}).status_code == 302

        assert LaunchCheck.objects.get().ticked_at == cast.now - timedelta(seconds=60)


class TestAReturnCheckFromTheSheet:
    def test_the_rider_is_ashore_as_of_when_it_was_ticked(
        self, cast: Walk, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        outing, later = cast.out(), cast.now + timedelta(hours=2)
        client, address = signed_in(cast.desk), place(cast, outing, "return")
        form = form_of(sheet(client), address)
        monkeypatch.setattr(clock, "now", lambda: later)
        client.post(address, {**form, "waited_s": "1800"})

        check = ReturnCheck.objects.get()
        assert (check.at, check.ticked_at, check.list_version) == (later, later - HALF_AN_HOUR, 0)
        assert (again(outing).state, again(outing).ashore_at) == ("closed", later - HALF_AN_HOUR)
        assert any("on a device without a connection" in text for text in told(outing))

    def test_nobody_is_ashore_before_they_were_launched(self, cast: Walk) -> None:
        outing = cast.out()
        client, address = signed_in(cast.desk), place(cast, outing, "return")
        client.post(address, {**form_of(sheet(client), address), "waited_s": "1800"})

        assert again(outing).ashore_at == cast.now


def test_our_one_script_stays_below_ten_kilobytes() -> None:
    assert (Path(settings.BASE_DIR) / "rentals" / "static" / "marram.js").stat().st_size < 10_000
