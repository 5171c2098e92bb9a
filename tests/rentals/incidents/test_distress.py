"""The distress sheet: the call first, what is known, where to look, and who was told when."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from bs4 import BeautifulSoup
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.afloat.models import Sighting
from rentals.bookings.models import Outing
from rentals.incidents import queries, services
from rentals.incidents.models import CallMade
from rentals.incidents.queries import distress
from rentals.lib import clock
from rentals.people import services as people
from rentals.people.models import MedicalNote
from rentals.privacy import services as privacy
from rigging.drift import CAUTION, Current, offset_position
from tests.rentals.browser import protected, signed_in
from tests.rentals.walk import HOUR, MINUTE, Walk, again


@pytest.fixture
def outing(cast: Walk) -> Outing:
    """Wren afloat, due at one."""
    return again(cast.out())


def sheet(cast: Walk, outing: Outing, *, at: datetime | None = None, **other: Any) -> queries.Sheet:
    return queries.distress_sheet(outing, **{"current": None, "now": at or cast.now + 4 * HOUR, **other})


def seen(cast: Walk, outing: Outing, **where: Any) -> Sighting:
    return Sighting.objects.create(outing=outing, at=cast.now + HOUR, by=cast.instructor, **where)


class TestLastSeen:
    def test_from_the_place_and_time_of_the_newest_sighting(self, cast: Walk, outing: Outing) -> None:
        seen(cast, outing, bearing_deg=90.0, distance_m=800.0)
        last = sheet(cast, outing).last

        assert last is not None
        expected = offset_position(cast.tarrow.latitude_deg, cast.tarrow.longitude_deg, 800.0, 0.0)
        assert (last.known.latitude_deg, last.known.longitude_deg) == pytest.approx(expected)
        assert (last.known.at, last.by) == (cast.now + HOUR, "Jory Instructor")

    def test_a_sighting_without_a_place_is_somewhere_in_the_sailing_area(
        self, cast: Walk, outing: Outing
    ) -> None:
        seen(cast, outing, note="sailing well")
        last = sheet(cast, outing).last

        assert last is not None
        assert (last.known.at, last.known.radius_m, last.words) == (
            cast.now + HOUR,
            distress.AREA_WITHIN_M,
            "sailing well",
        )

    def test_never_seen_it_is_the_launch(self, cast: Walk, outing: Outing) -> None:
        last = sheet(cast, outing).last

        assert last is not None
        assert last.known.at == outing.launched_at
        assert "not noted seen since" in last.words

    def test_who_never_went_afloat_is_looked_for_on_land_first(self, cast: Walk) -> None:
        found = sheet(cast, again(cast.kitted()))

        assert (found.last, found.drifts) == (None, ())
        assert "Look on land first" in found.why_none


class TestWhereToLook:
    def test_three_things_that_may_drift_each_go_downwind(self, cast: Walk, outing: Outing) -> None:
        """Wind from 330 degrees drives to the south-east, up to the jibing angle off it."""
        found = sheet(cast, outing)

        assert [drift.drifter for drift in found.drifts] == ["windsurfer", "board", "person_vertical"]
        for drift in found.drifts:
            assert abs((drift.bearing_deg - 150 + 180) % 360 - 180) < 45

    def test_a_windsurfer_adrift_goes_further_than_a_swimmer(self, cast: Walk, outing: Outing) -> None:
        """Allen & Plourde 1999: 2.25 % and 5 cm/s of the wind against 0.48 %."""
        windsurfer, _board, person = sheet(cast, outing).drifts

        assert windsurfer.distance_m > 3 * person.distance_m

    def test_a_current_carries_them(self, cast: Walk, outing: Outing) -> None:
        still = sheet(cast, outing).drifts[2]
        carried = sheet(cast, outing, current=Current(speed_ms=0.5, toward_deg=0)).drifts[2]

        seconds = (cast.now + 4 * HOUR - outing.launched_at).total_seconds()  # type: ignore[operator]
        assert carried.datum_m[1] - still.datum_m[1] == pytest.approx(0.5 * seconds, rel=0.01)

    def test_without_a_wind_it_says_what_to_do(self, cast: Walk, outing: Outing) -> None:
        found = sheet(cast, outing, at=cast.now + 30 * MINUTE)
        assert found.drifts
        assert outing.launched_at is not None
        later = outing.launched_at + timedelta(hours=25)

        assert "more than a day ago" in sheet(cast, outing, at=later).why_none

    def test_the_first_line_to_read_is_the_call(self, cast: Walk, outing: Outing) -> None:
        assert sheet(cast, outing).lines[0].startswith("Call the rescue service first")


class TestWhoWasTold:
    def test_it_is_listed_newest_first_with_who_said_so(self, cast: Walk, outing: Outing) -> None:
        for minutes, whom in ((0, "Rescue service"), (5, "Guardian")):
            services.note_call(
                actor=cast.ida, outing_id=outing.pk, whom=whom, now=cast.now + minutes * MINUTE
            )

        told = sheet(cast, outing).told
        assert [(said.text, said.who) for said in told] == [
            ("Told Guardian", "Ida Desk"),
            ("Told Rescue service", "Ida Desk"),
        ]

    def test_a_double_tap_notes_once(self, cast: Walk, outing: Outing) -> None:
        key = uuid4()
        for _tap in range(2):
            services.note_call(
                actor=cast.ida, outing_id=outing.pk, whom="Rescue service", once=key, now=cast.now
            )

        assert CallMade.objects.count() == 1

    def test_nobody_named_is_refused(self, cast: Walk, outing: Outing) -> None:
        with pytest.raises(services.UnableToNoteCall) as refusal:
            services.note_call(actor=cast.ida, outing_id=outing.pk, whom=" ", now=cast.now)

        assert set(refusal.value.fields) == {"whom"}


class TestMedicalNote:
    def test_it_stands_on_the_sheet_once_agreed_to(self, cast: Walk, outing: Outing) -> None:
        assert sheet(cast, outing).medical is None

        people.keep_medical_note(
            actor=cast.ida, rider_id=outing.rider_id, note="Asthma", agreed=True, now=cast.now
        )

        found = sheet(cast, outing).medical
        assert found is not None
        assert (found.note, found.agreed_by, found.wording) == ("Asthma", "Wren Alder", "2026-11")

    def test_without_a_word_nothing_is_kept(self, cast: Walk) -> None:
        with pytest.raises(people.UnableToKeepRider) as refusal:
            people.keep_medical_note(
                actor=cast.ida, rider_id=cast.wren.pk, note="Asthma", agreed=False, now=cast.now
            )

        assert set(refusal.value.fields) == {"agreed"}

    def test_for_a_minor_the_guardian_is_named(self, cast: Walk) -> None:
        with pytest.raises(people.UnableToKeepRider) as refusal:
            people.keep_medical_note(
                actor=cast.ida, rider_id=cast.fern.pk, note="Asthma", agreed=True, now=cast.now
            )

        assert set(refusal.value.fields) == {"agreed_by"}

    def test_an_empty_note_removes_it_and_the_journal_never_says_what_it_said(
        self, cast: Walk, outing: Outing
    ) -> None:
        for note in ("Asthma", ""):
            people.keep_medical_note(
                actor=cast.ida, rider_id=outing.rider_id, note=note, agreed=True, now=cast.now
            )

        assert sheet(cast, outing).medical is None
        told = cast.told("rider", outing.rider_id)
        assert told[:2] == ["Medical note removed", "Medical note kept; Wren Alder agrees"]

    def test_it_goes_with_a_rider_who_is_erased(self, cast: Walk) -> None:
        people.keep_medical_note(
            actor=cast.ida, rider_id=cast.wren.pk, note="Asthma", agreed=True, now=cast.now
        )
        privacy.erase_rider(actor=cast.boss, rider_id=cast.wren.pk, now=cast.now)

        assert not MedicalNote.objects.exists()

    def test_it_is_kept_and_removed_from_the_rider_s_page(
        self, cast: Walk, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(clock, "now", lambda: cast.now)
        address = reverse("medical-note", args=[cast.tarrow.slug, cast.wren.pk])
        client = signed_in(cast.desk)

        refused = client.post(address, {"medical-note": "Asthma"})
        assert (refused.status_code, "Asthma" in refused.content.decode()) == (422, True)
        client.post(address, {"medical-note": "Asthma", "medical-agreed": "on"})

        page = client.get(reverse("rider", args=[cast.tarrow.slug, cast.wren.pk])).content.decode()
        assert "Asthma" in page


class TestThePage:
    @pytest.fixture(autouse=True)
    def _later(self, cast: Walk, outing: Outing, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(clock, "now", lambda: cast.now + 4 * HOUR)

    def address(self, cast: Walk, outing: Outing) -> str:
        return reverse("distress", args=[cast.tarrow.slug, outing.pk])

    def test_its_first_line_is_the_call_and_an_estimate_delays_none(self, cast: Walk, outing: Outing) -> None:
        answer = signed_in(cast.desk).get(self.address(cast, outing))
        main = BeautifulSoup(answer.content, "html.parser").main
        assert main is not None
        words = main.get_text(" ", strip=True)

        assert words.startswith(f"Call the rescue service first: {cast.tarrow.rescue_number}. Then read")
        assert "An estimate here never delays a call." in words
        assert CAUTION in words
        protected(answer.headers)

    def test_it_gives_places_in_decimal_degrees_and_in_minutes_and_draws_them(
        self, cast: Walk, outing: Outing
    ) -> None:
        page = signed_in(cast.desk).get(self.address(cast, outing)).content.decode()
        drift = sheet(cast, outing).drifts[0]

        assert f"{drift.latitude_deg:.5f}, {drift.longitude_deg:.5f}" in page
        assert "° " in page
        assert "search-circle" in page

    @pytest.mark.parametrize("current", ["kn=1&toward=90", "kn=fast&toward=x", "kn=1", "toward=400&kn=1"])
    def test_any_current_is_answered(self, cast: Walk, outing: Outing, current: str) -> None:
        assert signed_in(cast.desk).get(f"{self.address(cast, outing)}?{current}").status_code == 200

    def test_a_call_is_noted_from_it(self, cast: Walk, outing: Outing) -> None:
        signed_in(cast.desk).post(self.address(cast, outing), {"whom": "Rescue service"})

        assert CallMade.objects.get().whom == "Rescue service"

    def test_it_asks_each_table_once(self, cast: Walk, outing: Outing) -> None:
        for _seen in range(3):
            seen(cast, outing)

        client = signed_in(cast.desk)

        with CaptureQueriesContext(connection) as asked:
            assert client.get(self.address(cast, outing)).status_code == 200

        assert len(asked) <= 4 + 14

    def test_to_a_stranger_it_does_not_exist(self, cast: Walk, outing: Outing) -> None:
        assert signed_in(cast.neighbour).get(self.address(cast, outing)).status_code == 404
