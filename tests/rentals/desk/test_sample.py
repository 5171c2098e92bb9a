"""The demo in an empty station of one's own: loaded by a tap, removed by a tap, leaving what is one's own."""

import pytest
from bs4 import BeautifulSoup
from django.urls import reverse

from rentals.bookings.models import Booking, Outing, Party
from rentals.desk.tasks import load_demo, remove_demo
from rentals.errands.models import Errand
from rentals.fleet.models import Item, ItemModel
from rentals.lib import clock
from rentals.people.models import Rider
from rentals.rigs import queries as rigs
from rentals.rigs import services as rigs_services
from tests.rentals.browser import signed_in
from tests.rentals.walk import Walk


@pytest.fixture(autouse=True)
def _at(cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: cast.now)


def tap(cast: Walk, **what: str) -> str:
    """Press the button, let the worker look, and return what the page of it says."""
    client = signed_in(cast.manager)
    page = client.post(reverse("change-demo", args=[cast.tarrow.slug]), what)["Location"]
    remove_demo() if what else load_demo()
    return BeautifulSoup(client.get(page).content, "html.parser").get_text(" ", strip=True)


def steps(cast: Walk) -> str:
    return signed_in(cast.manager).get(reverse("first-steps", args=[cast.tarrow.slug])).content.decode()


def kitted(outing: Outing, cast: Walk) -> Outing:
    """Give an outing the kit that fits first."""
    offers = rigs.offers(outing, now=cast.now)
    board = next(offer for offer in offers.boards if offer.suits.ok)
    choice = rigs_services.Choice(sail_id=offers.fitting[0].item.pk, board_id=board.item.pk, worn={})
    rigs_services.kit_outing(actor=cast.boss, outing_id=outing.pk, choice=choice, now=cast.now)
    return Outing.objects.get(pk=outing.pk)


class TestLoading:
    def test_one_tap_fills_an_empty_station(self, cast: Walk) -> None:
        assert "Load the demo" in steps(cast)

        said = tap(cast)

        assert "148 items, 24 riders and 6 outings of tomorrow are there." in said
        assert Item.objects.filter(station=cast.tarrow).count() == 148
        assert "Load the demo" not in steps(cast)
        assert "Remove the demo" in steps(cast)

    def test_a_station_with_riders_of_its_own_is_left_alone(self, cast: Walk) -> None:
        assert cast.wren

        assert "has kit or riders already" in tap(cast)
        assert not Item.objects.exists()

    def test_no_invented_wind_comes_with_it(self, cast: Walk) -> None:
        tap(cast)

        assert "Wind" not in {
            step.get_text()
            for step in BeautifulSoup(steps(cast), "html.parser").select("li:has(.tag-ready) a")
        }


class TestRemoving:
    def test_it_leaves_nothing(self, cast: Walk) -> None:
        tap(cast)

        assert "The demo is gone." in tap(cast, remove="1")
        for model in (Item, ItemModel, Rider, Outing, Booking, Party):
            assert not model.objects.exists(), model
        assert "Load the demo" in steps(cast)

    def test_what_the_station_entered_itself_stays(self, cast: Walk) -> None:
        tap(cast)
        model = ItemModel.objects.get(name="Samphire 5.3")
        own = Item.objects.create(station=cast.tarrow, model=model, tag="Z1")
        rider = cast.rider("Wren Alder")
        cast.booked(rider)

        tap(cast, remove="1")

        assert list(Item.objects.all()) == [own]
        assert list(Rider.objects.all()) == [rider]
        assert Outing.objects.get().rider == rider

    def test_a_booking_of_the_station_s_own_on_demo_kit_refuses_it(self, cast: Walk) -> None:
        cast.blow()
        tap(cast)
        (outing,) = cast.booked(cast.rider("Wren Alder", level="advanced"))
        kitted(outing, cast)

        said = tap(cast, remove="1")

        assert "Wren Alder's outing of" in said
        assert "hangs on the demo. Give it kit of your own or call it off" in said
        assert Item.objects.count() == 148
        assert Errand.objects.latest("id").state == "failed"

    def test_a_booking_of_a_demo_rider_made_by_the_station_refuses_it_too(self, cast: Walk) -> None:
        tap(cast)
        rider = Rider.objects.filter(guardian_name="").order_by("-id")[0]
        cast.booked(rider)

        assert f"{rider.name}'s outing of" in tap(cast, remove="1")

    def test_what_was_used_stays_in_the_record_out_of_use(self, cast: Walk) -> None:
        cast.blow()
        tap(cast)
        outing = Outing.objects.order_by("id")[0]
        outing.starts_at, outing.ends_at = cast.at(11), cast.at(13)
        outing.save()
        Rider.objects.filter(pk=outing.rider_id).update(level="advanced", mass_kg=75)
        kitted(Outing.objects.get(pk=outing.pk), cast)

        said = tap(cast, remove="1")

        assert "What was used stays in the record" in said
        assert set(Item.objects.values_list("state", flat=True)) == {"withdrawn"}
        assert Outing.objects.get().state == "cancelled"

    def test_a_second_load_is_possible_after_it(self, cast: Walk) -> None:
        tap(cast)
        tap(cast, remove="1")

        assert "148 items" in tap(cast)

    def test_without_a_demo_there_is_nothing_to_remove(self, cast: Walk) -> None:
        assert "There is no demo here to remove." in tap(cast, remove="1")

    @pytest.mark.parametrize("who", ["desk", "instructor"])
    def test_only_a_manager_changes_it(self, cast: Walk, who: str) -> None:
        client = signed_in(getattr(cast, who))

        assert client.post(reverse("change-demo", args=[cast.tarrow.slug])).status_code == 403
        assert b"Load the demo" not in client.get(reverse("first-steps", args=[cast.tarrow.slug])).content
