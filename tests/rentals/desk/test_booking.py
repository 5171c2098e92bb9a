"""The booking page: a list read into its rows, what the shed can serve, and a word against it."""

from datetime import datetime
from typing import Any

import pytest
from bs4 import Tag
from django.urls import reverse

from rentals.bookings.models import Booking, Outing
from rentals.lib import clock
from tests.rentals.browser import Form, signed_in
from tests.rentals.takings.shop import PriceList
from tests.rentals.test_typed import BRAM, PARTY
from tests.rentals.walk import Walk

GOES = {name: value for name, value in PARTY.items() if name != "despite"}


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


def send(cast: Walk, typed: dict[str, Any]) -> Any:
    return signed_in(cast.desk).post(reverse("book", args=[cast.tarrow.slug]), typed)


class TestAPastedList:
    LIST = "\n".join(
        f"Rider {letter}\t{60 + place}\t170\tbeginner\t1990-05-17" for place, letter in enumerate("ABCDEFGH")
    )

    def read(self, cast: Walk, pasted: str, **typed: str) -> Form:
        response = send(cast, {**GOES, **typed, "pasted": pasted, "read": "1"})
        assert response.status_code in (200, 422)
        return Form(response)

    def test_eight_riders_stand_in_eight_rows(self, cast: Walk) -> None:
        form = self.read(cast, self.LIST)

        assert [form.value(f"riders-{number}-name") for number in range(8)] == [
            f"Rider {each}" for each in "ABCDEFGH"
        ]
        assert form.value("riders-7-mass_kg") == "67"
        assert form.value("pasted") == ""
        assert form.value("contact_name") == "Greta Nance"
        assert not Booking.objects.exists()

    def test_what_is_missing_is_said_in_its_row(self, cast: Walk) -> None:
        form = self.read(cast, "Jo;81;178\nMia;15;150;2001-01-01")

        assert form.said("riders-0-born_on") == "This is needed."
        assert "between 20 and 160 kg" in form.said("riders-1-mass_kg")
        assert form.said("contact_name") == ""

    def test_rows_that_are_filled_stay(self, cast: Walk) -> None:
        form = self.read(cast, "Jo;81;178", **BRAM)

        assert [form.value(f"riders-{number}-name") for number in range(2)] == ["Bram Sallow", "Jo"]

    def test_what_is_not_understood_goes_to_the_note(self, cast: Walk) -> None:
        form = self.read(cast, "Jo;81;178;left-handed 2nd day")

        assert form.value("note") == "by the slipway; Jo: left-handed 2nd day"

    @pytest.mark.parametrize(("said", "row"), [("Wren Alder", "known"), ("Wren Alder;1961-01-01", "name")])
    def test_a_rider_known_here_is_recognised_unless_born_otherwise(
        self, cast: Walk, said: str, row: str
    ) -> None:
        assert cast.wren

        assert self.read(cast, said).value(f"riders-0-{row}").startswith("Wren Alder")

    def test_more_than_there_are_rows_for_stay_in_the_list(self, cast: Walk) -> None:
        form = self.read(
            cast, "\n".join(f"Rider {number:c}{number:c};60;170" for number in range(65, 65 + 22))
        )

        field = form.page.find("textarea", {"name": "pasted"})
        assert field is not None
        assert len(field.get_text().strip().splitlines()) == 2


class TestWhatTheShedCanServe:
    def test_a_party_that_gets_its_kit_is_booked(self, cast: Walk) -> None:
        assert cast.shed
        cast.blow()

        response = send(cast, {**GOES, "riders-0-known": f"Wren Alder #{cast.wren.pk}"})

        assert response.status_code == 302
        assert Booking.objects.get().despite == ""

    def test_one_that_does_not_is_told_who_goes_short_and_asked_why_all_the_same(self, cast: Walk) -> None:
        cast.blow()
        typed = {**GOES, "riders-0-known": f"Wren Alder #{cast.wren.pk}"}

        refused = send(cast, typed)

        form = Form(refused)
        assert refused.status_code == 422
        assert "give a reason to book all the same" in form.said("despite")
        assert "Wren Alder" in form.page.find(id="offer").get_text()  # type: ignore[union-attr]
        assert not Booking.objects.exists()
        assert send(cast, {**typed, "despite": "Brings her own"}).status_code == 302
        assert Booking.objects.get().despite == "Brings her own"

    def test_looking_shows_other_starts_and_books_nothing(self, cast: Walk) -> None:
        assert cast.shed
        cast.blow()

        response = send(cast, {**GOES, "riders-0-known": f"Wren Alder #{cast.wren.pk}", "look": "1"})

        starts = [button["value"] for button in Form(response).page.find_all("button", {"name": "start"})]
        assert "14:00" in starts
        assert "10:00" not in starts
        assert not Outing.objects.exists()

    def test_another_start_keeps_the_length(self, cast: Walk) -> None:
        form = Form(send(cast, {**GOES, **BRAM, "start": "15:00"}))

        assert (form.value("starts_at"), form.value("ends_at")) == ("15:00", "17:00")
        assert not Outing.objects.exists()

    def test_a_time_that_has_begun_is_booked_without_a_promise(self, cast: Walk) -> None:
        assert send(cast, {**GOES, **BRAM, "starts_at": "09:30"}).status_code == 302


class TestWhatItCosts:
    def offered(self, cast: Walk, **typed: str) -> str:
        response = send(cast, {**GOES, **BRAM, **typed, "look": "1"})
        box = Form(response).page.find(id="offer")
        assert isinstance(box, Tag)
        return box.get_text(" ", strip=True).replace("\xa0", " ")

    def test_the_price_stands_beside_the_promise_with_its_reasons(self, cast: Walk) -> None:
        PriceList(cast)

        said = self.offered(cast, starts_at="13:00", ends_at="15:00")

        assert "1 × Full kit, 2 h 00 min at EUR 50.00: EUR 50.00" in said
        assert "2 h at EUR 25.00" in said
        assert "would cost EUR 60.00" in said

    def test_what_has_no_price_says_what_to_set(self, cast: Walk) -> None:
        PriceList(cast).set_price("first-lesson", "piece", None)

        assert "No price:" in self.offered(cast, kind="lesson")

    def test_a_station_without_a_price_list_is_shown_none(self, cast: Walk) -> None:
        said = self.offered(cast)

        assert "costs" not in said
        assert "price" not in said
