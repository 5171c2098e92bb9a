"""The station and who works there: set up, changed, staffed, never left without a manager."""

from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import Any

import pytest
from django.urls import reverse

from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.people import services
from rentals.people.mapping import actor_of
from rentals.people.models import Posting, User
from rentals.stations import queries
from rentals.stations import services as stations
from rentals.stations.models import Station, WindLimit
from rigging import units
from tests.rentals.browser import Form, signed_in
from tests.rentals.walk import Walk

STATION = stations.StationFacts(
    name="Sandling Spit",
    zone_name="Europe/Lisbon",
    latitude_deg=38.7,
    longitude_deg=-9.4,
    seaward_deg=240.0,
    opens=time(8),
    closes=time(19),
    turn_round_min=15,
    salt_water=True,
    watch_email="watch@station.example",
    rescue_number="0800 000 000",
)
TYPED: dict[str, Any] = {
    "name": "Sandling Spit", "zone_name": "Europe/Lisbon", "latitude_deg": "38,7", "longitude_deg": "-9.4",
    "seaward_deg": "240", "opens": "08:00", "closes": "19:00", "turn_round_min": "15", "salt_water": "on",
    "watch_email": "watch@station.example", "rescue_number": "0800 000 000",
}  # fmt: skip


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


class TestFirstRun:
    def founder(self) -> User:
        return User.objects.create(username="root", is_superuser=True)

    def test_who_runs_the_service_begins_a_station_and_manages_it(self, cast: Walk) -> None:
        user = self.founder()
        client = signed_in(user)
        assert b"Set up a station" in client.get("/").content

        answer = client.post("/set-up/", TYPED)

        assert answer["Location"] == "/sandling-spit/station/"
        assert Station.objects.get().seaward_deg == 240
        assert actor_of(user, cast.now.date()).roles
        assert client.get("/sandling-spit/station/").status_code == 200

    @pytest.mark.parametrize(
        ("field", "typed", "said"),
        [
            ("zone_name", "Lisbon", "such as Europe/Lisbon"),
            ("zone_name", "../etc", "such as Europe/Lisbon"),
            ("closes", "07:00", "after the opening"),
            ("latitude_deg", "91", "between -90 and 90"),
            ("rescue_number", "ring me", "valid"),
            ("name", "!!!", "no other station"),
            ("opens", "eight", "valid time"),
        ],
    )
    def test_what_cannot_be_is_said_beside_it_and_the_rest_stays(
        self, cast: Walk, field: str, typed: str, said: str
    ) -> None:
        answer = signed_in(self.founder()).post("/set-up/", {**TYPED, field: typed})

        form = Form(answer)
        assert answer.status_code == 422
        assert said in form.said(field)
        assert form.value("watch_email") == TYPED["watch_email"]
        assert not Station.objects.exists()

    def test_for_anybody_else_there_is_no_such_page(self, cast: Walk) -> None:
        assert signed_in(cast.manager).get("/set-up/").status_code == 404
        assert b"Set up a station" not in signed_in(cast.stranger).get("/").content

    def test_two_stations_do_not_share_an_address(self, cast: Walk) -> None:
        actor = service(System.FOUND)
        services.found_station(actor=actor, facts=STATION, now=cast.now)

        with pytest.raises(stations.UnableToSetStation, match="no other station"):
            services.found_station(actor=actor, facts=STATION, now=cast.now)


class TestStaff:
    def send(self, cast: Walk, **typed: str) -> Any:
        usual = {"username": "pip", "role": "instructor", "first_name": "Pip", "password": "spartina-anglica"}
        return signed_in(cast.manager).post(reverse("hire", args=[cast.tarrow.slug]), {**usual, **typed})

    def test_somebody_new_signs_in_and_works_here(self, cast: Walk) -> None:
        assert self.send(cast).status_code == 302

        user = User.objects.get(username="pip")
        assert user.check_password("spartina-anglica")
        assert Posting.objects.get(user=user).role == "instructor"

    def test_somebody_who_signs_in_already_needs_no_password_and_keeps_theirs(self, cast: Walk) -> None:
        neighbour = cast.neighbour

        assert self.send(cast, username=neighbour.username, password="other-than-before").status_code == 302
        neighbour.refresh_from_db()
        assert not neighbour.check_password("other-than-before")

    @pytest.mark.parametrize(
        ("field", "typed", "said"),
        [
            ("password", "short", "too short"),
            ("password", "password123", "too common"),
            ("username", "two words", "valid username"),
            ("role", "owner", "not one of"),
        ],
    )
    def test_what_cannot_be_is_said_beside_it(self, cast: Walk, field: str, typed: str, said: str) -> None:
        answer = self.send(cast, **{field: typed})

        assert answer.status_code == 422
        assert said in Form(answer).said(field)
        assert not User.objects.filter(first_name="Pip").exists()

    def test_a_role_held_already_is_said(self, cast: Walk) -> None:
        assert "already" in Form(self.send(cast, username=cast.desk.username, role="desk")).said("username")

    def test_ended_today_it_is_gone_today_and_known_for_yesterday(self, cast: Walk) -> None:
        posting = Posting.objects.get(user=cast.desk)

        services.end_posting(actor=cast.boss, posting_id=posting.pk, now=cast.now)

        day = cast.now.date()
        assert not actor_of(cast.desk, day).roles
        assert actor_of(cast.desk, day - timedelta(days=1)).roles

    def test_the_last_manager_stays(self, cast: Walk) -> None:
        posting = Posting.objects.get(user=cast.manager)

        with pytest.raises(services.UnableToHire, match="another manager first"):
            services.end_posting(actor=cast.boss, posting_id=posting.pk, now=cast.now)


class TestTheStation:
    def test_its_facts_are_changed_and_its_address_stays(self, cast: Walk) -> None:
        url = reverse("station", args=[cast.tarrow.slug])

        assert signed_in(cast.manager).post(url, TYPED)["Location"] == url

        cast.tarrow.refresh_from_db()
        assert (cast.tarrow.name, cast.tarrow.slug) == ("Sandling Spit", "tarrow-lagoon")
        assert any("seaward_deg" in text for text in cast.told("station", cast.tarrow.pk))

    def test_the_desk_sees_it_and_cannot_change_it(self, cast: Walk) -> None:
        url = reverse("station", args=[cast.tarrow.slug])

        assert signed_in(cast.desk).get(url).status_code == 200
        assert signed_in(cast.desk).post(url, TYPED).status_code == 403

    def test_a_limit_of_a_level_replaces_the_usual_one_and_nothing_brings_it_back(self, cast: Walk) -> None:
        url, client = reverse("wind-limits", args=[cast.tarrow.slug]), signed_in(cast.manager)

        client.post(url, {"beginner": "12"})

        # 12 kn = 12 × 1852/3600 m/s (BIPM, SI Brochure 9th ed., table 8)
        assert WindLimit.objects.get().mean_ms == pytest.approx(12 * 1852 / 3600)
        assert Form(client.get(reverse("station", args=[cast.tarrow.slug]))).value("beginner") == "12"
        client.post(url, {"beginner": ""})
        assert not WindLimit.objects.exists()

    def test_the_page_tells_the_usual_limits(self, cast: Walk) -> None:
        usual, own = queries.wind_limits(cast.tarrow)

        assert own == {}
        page = signed_in(cast.manager).get(reverse("station", args=[cast.tarrow.slug])).content.decode()
        assert f"usually {float(units.knots(usual['beginner'])):.0f} kn" in page

    def test_a_limit_beyond_any_wind_is_refused(self, cast: Walk) -> None:
        answer = signed_in(cast.manager).post(
            reverse("wind-limits", args=[cast.tarrow.slug]), {"expert": "90"}
        )

        assert "between 1 and 58 kn" in Form(answer).said("expert")

    @pytest.mark.parametrize("limit", [0.0, -1.0, 31.0])
    def test_no_program_sets_one_that_cannot_be(self, cast: Walk, limit: float) -> None:
        with pytest.raises(stations.UnableToSetStation):
            stations.set_wind_limits(
                actor=cast.boss, station_id=cast.tarrow.pk, limits={"expert": limit}, now=cast.now
            )

    def test_bookings_outside_new_hours_stay(self, cast: Walk) -> None:
        outing = cast.booked(hour=11)[0]

        stations.change_station(
            actor=cast.boss, station_id=cast.tarrow.pk, facts=replace(STATION, opens=time(14)), now=cast.now
        )

        outing.refresh_from_db()
        assert outing.state == "booked"
