"""The closing round: nobody is forgotten, and a signature says who looked."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.afloat import services as afloat
from rentals.bookings.models import Outing
from rentals.incidents import queries
from rentals.incidents.models import Closing
from rentals.incidents.services import DayMovedOn, UnableToSign
from rentals.lib import clock
from tests.rentals.browser import Form, protected, signed_in
from tests.rentals.busy import fill
from tests.rentals.incidents.tell import opened_again, signed
from tests.rentals.walk import DAY, HOUR, Walk


@pytest.fixture(autouse=True)
def _at(cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: cast.now)


class TestWhileSomebodyIsAfloat:
    def test_the_day_is_not_signed_and_they_are_named_with_whom_to_call(self, cast: Walk) -> None:
        outing = cast.out()

        with pytest.raises(UnableToSign) as refusal:
            signed(cast)

        assert str(outing.rider) in refusal.value.sentence
        assert cast.tarrow.rescue_number in refusal.value.sentence
        assert not Closing.objects.exists()

    def test_nor_is_a_later_day_when_they_went_out_the_day_before(self, cast: Walk) -> None:
        cast.out()
        cast.now += DAY

        with pytest.raises(UnableToSign, match="Still afloat"):
            signed(cast, day=cast.now.date())

    def test_a_rider_called_back_afloat_after_the_signature_is_listed_in_red(self, cast: Walk) -> None:
        outing = cast.out()
        cast.land(outing, after=timedelta())
        signed(cast, note="Still drying the kit")
        afloat.call_back_afloat(actor=cast.boss, outing_id=outing.pk, now=cast.now)

        page = signed_in(cast.instructor).get(reverse("closing", args=[cast.tarrow.slug])).content.decode()

        assert "1 rider still afloat" in page
        assert "no longer holds" in page

    def test_those_afloat_elsewhere_do_not_matter(self, cast: Walk) -> None:
        outing = cast.out()
        Outing.objects.filter(pk=outing.pk).update(station=cast.kettle)

        assert signed(cast).turn == 1


class TestWhatIsNotBack:
    def test_it_is_listed_whatever_day_it_went_out(self, cast: Walk) -> None:
        outing = cast.out()
        cast.take_back(outing, missing=[cast.shed["B1"]])

        found = queries.closing_of(cast.tarrow, cast.now.date() + DAY, now=cast.now + DAY)

        assert [part.item.tag for part in found.missing] == ["B1"]

    def test_the_kit_of_riders_afloat_is_not_among_it(self, cast: Walk) -> None:
        cast.out()

        assert queries.closing_of(cast.tarrow, cast.now.date(), now=cast.now).missing == ()

    def test_it_asks_what_is_done_about_it_and_keeps_the_list(self, cast: Walk) -> None:
        outing = cast.out()
        cast.take_back(outing, missing=[cast.shed["B1"]])
        cast.now += 3 * HOUR

        with pytest.raises(UnableToSign) as refusal:
            signed(cast)
        assert set(refusal.value.fields) == {"note"}

        line = signed(cast, note="Rang Wren; brings it tomorrow")
        assert line.missing == [{"tag": "B1", "rider": "Wren Alder", "outing": outing.pk}]


class TestTheSignature:
    def test_it_keeps_who_went_round_and_the_wording_gone_through(self, cast: Walk) -> None:
        line = signed(cast, name="  Jory  Hale ")

        assert (line.name, line.by, len(line.points)) == ("Jory Hale", cast.manager, 4)
        assert cast.told("station", cast.tarrow.pk)[0].endswith("signed by Jory Hale, 0 items out")

    def test_a_point_not_gone_through_keeps_it_open(self, cast: Walk) -> None:
        with pytest.raises(UnableToSign) as refusal:
            signed(cast, ticked=frozenset({"closing.people"}))

        assert set(refusal.value.fields) == {"point.closing.water", "point.closing.boat", "point.closing.kit"}

    def test_nobody_signs_without_a_name(self, cast: Walk) -> None:
        with pytest.raises(UnableToSign) as refusal:
            signed(cast, name=" ")

        assert set(refusal.value.fields) == {"name"}

    def test_a_day_is_signed_once(self, cast: Walk) -> None:
        signed(cast)

        with pytest.raises(DayMovedOn, match="Maud Manager signed this day already"):
            signed(cast)

    def test_a_double_tap_signs_once(self, cast: Walk) -> None:
        key = uuid4()

        assert signed(cast, once=key) == signed(cast, once=key)

    def test_opening_again_is_a_line_of_its_own_and_lets_it_be_signed_anew(self, cast: Walk) -> None:
        signed(cast)
        opened_again(cast)
        signed(cast, name="Ida")

        steps = list(Closing.objects.order_by("turn").values_list("step", "name"))
        assert steps == [("signed", "Maud Manager"), ("reopened", "Maud Manager"), ("signed", "Ida")]

    def test_what_is_not_signed_is_not_opened_again(self, cast: Walk) -> None:
        with pytest.raises(DayMovedOn):
            opened_again(cast)

    @pytest.mark.parametrize("field", ["name", "note"])
    def test_opening_again_says_who_and_why(self, cast: Walk, field: str) -> None:
        signed(cast)

        with pytest.raises(UnableToSign) as refusal:
            opened_again(cast, **{field: " "})

        assert set(refusal.value.fields) == {field}

    def test_a_forgotten_day_is_signed_within_a_week(self, cast: Walk) -> None:
        assert signed(cast, day=cast.now.date() - 7 * DAY).day == cast.now.date() - 7 * DAY

    @pytest.mark.parametrize("days", [-8, 1])
    def test_no_other_day_is(self, cast: Walk, days: int) -> None:
        with pytest.raises(UnableToSign, match="one of the last seven"):
            signed(cast, day=cast.now.date() + days * DAY)


class TestThePage:
    def address(self, cast: Walk) -> str:
        return reverse("closing", args=[cast.tarrow.slug])

    def test_it_is_signed_from_the_page(self, cast: Walk) -> None:
        client = signed_in(cast.instructor)
        ticks = {f"point.{key}": "on" for key in ("closing.people", "closing.water", "closing.boat")}

        again = client.post(self.address(cast), {"which": "sign", "name": "Jory", **ticks})
        assert again.status_code == 422
        assert Form(again).said("point.closing.kit") == "Go and look, then tick it."
        assert Form(again).ticked("point.closing.boat")

        client.post(self.address(cast), {"which": "sign", "name": "Jory", **ticks, "point.closing.kit": "on"})
        page = client.get(self.address(cast))
        assert "by Jory" in page.content.decode()
        protected(page.headers)

    def test_the_desk_sees_it_and_is_told_who_signs(self, cast: Walk) -> None:
        page = signed_in(cast.desk).get(self.address(cast)).content.decode()

        assert "Instructors and managers sign the round." in page

    def test_a_signed_day_is_opened_again_from_it(self, cast: Walk) -> None:
        signed(cast)
        client = signed_in(cast.manager)
        client.post(self.address(cast), {"which": "reopen", "reopen-name": "Maud", "reopen-note": "Late"})

        assert Closing.objects.count() == 2

    def test_it_asks_each_table_once_however_many_riders(self, cast: Walk) -> None:
        cast.out()
        cast.booked(cast.rider("Moor Sedge"), hour=15)
        client = signed_in(cast.desk)
        with CaptureQueriesContext(connection) as queries_:
            assert client.get(self.address(cast)).status_code == 200

        assert len(queries_) == 4 + 6  # who and where; afloat, missing, to come, observation, log, turns

    def test_of_many_the_first_have_lines_and_the_others_are_named_or_counted(self, cast: Walk) -> None:
        fill(cast, 75)
        page = signed_in(cast.instructor).get(self.address(cast)).content.decode()

        assert "25 riders still afloat" in page
        assert page.count("is ashore: seen") == 20
        assert "5 more afloat, due later" in page
        for outing in Outing.objects.afloat().select_related("rider"):
            assert outing.rider.name in page
        assert "5 more of the day" in page

    def test_to_a_stranger_it_does_not_exist(self, cast: Walk) -> None:
        assert signed_in(cast.neighbour).get(self.address(cast)).status_code == 404
