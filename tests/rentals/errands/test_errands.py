"""Errands: one of a kind at a time, seen as they go on, called off without a trace, surviving a worker."""

from datetime import timedelta
from uuid import uuid4

import pytest
from bs4 import BeautifulSoup
from django.urls import reverse

from rentals.errands import services
from rentals.errands.models import Errand, ErrandKind
from rentals.fleet import services as fleet
from rentals.fleet.models import Item
from rentals.fleet.tasks import take_shed
from rentals.lib import clock
from rentals.people.models import Posting
from rentals.takings.queries import day as day_tables
from rentals.takings.services import charge_due
from rentals.takings.tasks import give_entries
from tests.rentals.browser import signed_in
from tests.rentals.errands.under_way import WORKER, underway, wanted
from tests.rentals.takings.shop import PriceList
from tests.rentals.walk import Walk

SHEET = {"text": "tag,kind,model,size\nH7,harness,Waist M,M\n"}
TAKE = ErrandKind.TAKE_SHED


@pytest.fixture(autouse=True)
def _at(cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: cast.now)


def the_one() -> Errand:
    return Errand.objects.get()


class TestAsking:
    def test_two_of_a_kind_are_not_under_way_at_once(self, cast: Walk) -> None:
        wanted(cast, TAKE, SHEET)

        with pytest.raises(services.UnableToMoveErrand, match="under way here already"):
            wanted(cast, TAKE, SHEET)

    def test_a_double_tap_is_one(self, cast: Walk) -> None:
        key = uuid4()
        first, again = (
            services.ask_for(
                actor=cast.boss, station_id=cast.tarrow.pk, kind=TAKE, asked=SHEET, once=key, now=cast.now
            )
            for _time in range(2)
        )

        assert first == again


class TestCallingOff:
    def test_before_it_began_nothing_is_done(self, cast: Walk) -> None:
        errand = wanted(cast, TAKE, SHEET)
        services.call_off(actor=cast.boss, errand_id=errand.pk, now=cast.now)

        take_shed()

        assert the_one().state == "cancelled"
        assert not Item.objects.exists()

    def test_in_the_middle_what_was_written_is_undone(self, cast: Walk) -> None:
        taken = underway(cast, TAKE, SHEET)
        services.call_off(actor=cast.boss, errand_id=taken.errand_id, now=cast.now)

        with pytest.raises(services.NotWanted):
            fleet.take_shed(
                actor=cast.boss, station_id=cast.tarrow.pk, text=SHEET["text"], taken=taken, now=cast.now
            )

        assert not Item.objects.exists()

    def test_the_worker_hears_of_it_on_the_way(self, cast: Walk) -> None:
        taken = underway(cast, TAKE, SHEET)
        services.call_off(actor=cast.boss, errand_id=taken.errand_id, now=cast.now)

        with pytest.raises(services.NotWanted):
            services.Pulse(WORKER, taken)(1, 2, "Half.", now=cast.now)

    def test_what_is_done_stays_done(self, cast: Walk) -> None:
        errand = wanted(cast, TAKE, SHEET)
        take_shed()

        with pytest.raises(services.UnableToMoveErrand, match="It is done"):
            services.call_off(actor=cast.boss, errand_id=errand.pk, now=cast.now)


class TestWorking:
    def test_it_tells_how_far_it_is(self, cast: Walk) -> None:
        taken = underway(cast, TAKE, SHEET)

        services.Pulse(WORKER, taken)(3, 4, "3 of 4 rows looked at.", now=cast.now)

        assert (the_one().progress, the_one().words) == (75, "3 of 4 rows looked at.")

    def test_a_dead_worker_s_errand_is_taken_again_and_given_up_after_two(self, cast: Walk) -> None:
        underway(cast, TAKE, SHEET)
        later = cast.now + services.SILENT_AFTER + timedelta(seconds=1)

        again = services.take(actor=WORKER, kind=TAKE, now=later)
        assert again is not None
        assert again.tries == services.MOST_TRIES
        assert services.take(actor=WORKER, kind=TAKE, now=later + services.SILENT_AFTER * 2) is None
        assert the_one().state == "failed"

    def test_the_dead_worker_come_alive_leaves_nothing(self, cast: Walk) -> None:
        old = underway(cast, TAKE, SHEET)
        services.take(actor=WORKER, kind=TAKE, now=cast.now + services.SILENT_AFTER * 2)

        with pytest.raises(services.NotWanted):
            fleet.take_shed(
                actor=cast.boss, station_id=cast.tarrow.pk, text=SHEET["text"], taken=old, now=cast.now
            )
        assert not Item.objects.exists()

    def test_one_who_may_not_any_more_gets_nothing_done(self, cast: Walk) -> None:
        wanted(cast, TAKE, SHEET)
        Posting.objects.update(until=cast.now.date() - timedelta(days=1))

        take_shed()

        assert the_one().state == "failed"
        assert not Item.objects.exists()


class TestSheet:
    def test_it_is_taken_in_by_the_worker(self, cast: Walk) -> None:
        wanted(cast, TAKE, {"text": cast_sheet(cast)})

        take_shed()

        assert (the_one().state, the_one().words) == ("done", "1 new, 0 changed.")
        assert Item.objects.filter(tag="S77").exists()

    def test_a_sheet_that_went_bad_meanwhile_is_said_and_leaves_nothing(self, cast: Walk) -> None:
        wanted(cast, TAKE, {"text": "tag,kind\nM7,kite\n"})

        take_shed()

        assert the_one().state == "failed"
        assert "Enter a kind" in the_one().words


class TestLedger:
    def test_the_file_is_written_by_the_worker_and_fetched(self, cast: Walk) -> None:
        client = signed_in(cast.manager)
        url = reverse("takings-csv", args=[cast.tarrow.slug])
        page = client.post(url)["Location"]

        give_entries()

        shown = BeautifulSoup(client.get(page).content, "html.parser")
        link = shown.find("a", string="Download the file")
        assert link is not None
        file = client.get(str(link["href"]))
        assert file.content.startswith(b"number,day,at,")

    def test_it_is_read_in_pages_none_of_which_is_lost(
        self, cast: Walk, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        prices = PriceList(cast)
        (outing,) = cast.booked()
        charge_due(actor=cast.ida, party_id=outing.booking.party_id, now=cast.now)
        day = cast.now.date()
        whole = day_tables.entries_as_csv(cast.tarrow, day, day)
        monkeypatch.setattr(day_tables, "AT_ONCE", 1)
        told: list[int] = []

        assert prices
        assert day_tables.entries_as_csv(cast.tarrow, day, day, told.append) == whole
        assert told == list(range(1, whole.count("\n")))

    def test_a_newer_one_takes_the_place_of_the_last(self, cast: Walk) -> None:
        client, url = signed_in(cast.manager), reverse("takings-csv", args=[cast.tarrow.slug])
        for _time in range(2):
            client.post(url)
            give_entries()
        older, newer = Errand.objects.order_by("id")

        assert client.get(f"{url}?errand={older.pk}").status_code == 404
        assert client.get(f"{url}?errand={newer.pk}").status_code == 200


class TestPage:
    def test_while_it_goes_on_it_renews_itself_and_can_be_called_off(self, cast: Walk) -> None:
        errand = wanted(cast, TAKE, SHEET)
        client, args = signed_in(cast.manager), [cast.tarrow.slug, errand.pk]

        page = BeautifulSoup(client.get(reverse("errand", args=args)).content, "html.parser")
        assert page.select_one("meta[http-equiv=refresh]") is not None
        assert page.select_one("progress") is not None
        client.post(reverse("errand-call-off", args=args))

        page = BeautifulSoup(client.get(reverse("errand", args=args)).content, "html.parser")
        assert page.select_one("meta[http-equiv=refresh]") is None
        assert "Called off. Nothing was changed." in page.get_text()

    def test_another_station_s_is_not_there(self, cast: Walk) -> None:
        errand = wanted(cast, TAKE, SHEET)

        url = reverse("errand", args=[cast.kettle.slug, errand.pk])
        assert signed_in(cast.neighbour).get(url).status_code == 404


def cast_sheet(cast: Walk) -> str:
    """One more sail of a model that is known."""
    model = cast.shed["S1"].model
    return f"tag,kind,model\nS77,sail,{model.name}\n"
