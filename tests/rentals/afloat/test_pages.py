"""Pages of the water: who is out, one tap each, the bar on every page, the safety settings, health."""

import json
import re
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import DatabaseError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.afloat import services as afloat
from rentals.afloat.models import (
    BeachLog,
    HeadCount,
    LaunchCheck,
    PhaseChange,
    Recall,
    Sighting,
    WatchContact,
)
from rentals.audit.models import Entry
from rentals.bookings.models import Outing
from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.mail.models import Hook, Letter
from rentals.stations.models import Station
from tests.rentals.browser import protected, signed_in
from tests.rentals.busy import fill
from tests.rentals.walk import HOUR, MINUTE, Walk, again

MOST_QUERIES = 18
LOOKOUT = service(System.WATCH)


@pytest.fixture(autouse=True)
def at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The clock on the wall, which a test may set."""
    moment = [now]
    monkeypatch.setattr(clock, "now", lambda: moment[0])
    return lambda later: moment.__setitem__(0, later)


@pytest.fixture
def outing(cast: Walk) -> Outing:
    """Wren afloat, due at 13:00."""
    return cast.out()


def url(cast: Walk, name: str, *rest: object) -> str:
    return reverse(name, args=[cast.tarrow.slug, *rest])


def shown(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


class TestTheAfloatPage:
    def test_it_says_who_is_out_until_when_on_what(self, cast: Walk, outing: Outing) -> None:
        cast.shed["S2"].colour = "blue"
        cast.shed["S2"].save()

        text = shown(signed_in(cast.desk), url(cast, "afloat"))

        for word in (
            "1 afloat",
            "Wren Alder",
            "advanced",
            "sail blue",
            "180 min",
            "due 13:00",
            "at the launch",
        ):
            assert word in text

    def test_it_asks_as_many_queries_for_many_as_for_one(self, cast: Walk, outing: Outing) -> None:
        client, address = signed_in(cast.desk), url(cast, "afloat")
        with CaptureQueriesContext(connection) as few:
            client.get(address)
        for number in range(3):
            other = cast.rider(f"Rider {number}", level="advanced")
            Outing.objects.create(
                station=cast.tarrow, booking=outing.booking, rider=other,
                starts_at=outing.starts_at, ends_at=outing.ends_at,
            )  # fmt: skip
        Outing.objects.exclude(pk=outing.pk).update(kit_no=1)
        for each in Outing.objects.exclude(pk=outing.pk):
            LaunchCheck.objects.create(
                outing=each, kit_no=1, at=cast.now, by=cast.manager, passed=True, points=[], gates=[]
            )
            for state in ("kitted", "cleared", "afloat"):
                Outing.objects.filter(pk=each.pk).update(state=state, launched_at=cast.now)

        with CaptureQueriesContext(connection) as many:
            text = shown(client, address)

        assert "4 afloat" in text
        assert len(many) == len(few) <= MOST_QUERIES

    def test_of_many_the_next_due_have_every_button_and_the_others_are_all_there(self, cast: Walk) -> None:
        fill(cast, 90)
        last = Outing.objects.afloat().order_by("-ends_at", "-id").first()
        assert last is not None
        Outing.objects.filter(pk=last.pk).update(ends_at=last.ends_at + HOUR)

        page = signed_in(cast.instructor).get(url(cast, "afloat")).content.decode()

        assert "30 afloat" in page
        assert "10 more afloat, due later" in page
        for outing in Outing.objects.afloat():
            assert f'formaction="{url(cast, "seen", outing.pk)}"' in page
            assert f'formaction="{url(cast, "ashore", outing.pk)}?back=afloat"' in page
            assert f'href="{url(cast, "rider-out", outing.pk)}"' in page
        assert page.count("Swap kit</button>") == 20
        assert f'formaction="{url(cast, "swap-kit", last.pk)}"' not in page

    def test_of_many_whoever_is_in_trouble_has_every_button(self, cast: Walk) -> None:
        fill(cast, 90)
        last = Outing.objects.afloat().order_by("-ends_at", "-id").first()
        assert last is not None
        afloat.see(actor=cast.boss, outing_id=last.pk, seen=afloat.Seen(in_trouble=True), now=cast.now)

        page = signed_in(cast.instructor).get(url(cast, "afloat")).content.decode()

        assert f'formaction="{url(cast, "swap-kit", last.pk)}"' in page
        assert page.index(f'id="rider-{last.pk}"') < page.index("more afloat, due later")

    def test_whoever_looks_first_raises_what_has_begun(self, cast: Walk, outing: Outing, at: Any) -> None:
        at(outing.ends_at + 12 * MINUTE)

        text = shown(signed_in(cast.desk), url(cast, "afloat"))

        assert PhaseChange.objects.get().phase == "uncertainty"
        assert "Nobody has taken this on" in text

    def test_the_distress_sheet_of_who_is_late_is_one_tap_away(
        self, cast: Walk, outing: Outing, at: Any
    ) -> None:
        at(outing.ends_at + HOUR)
        page = signed_in(cast.instructor).get(url(cast, "afloat")).content.decode()

        assert url(cast, "distress", outing.pk) in page

    def test_the_live_part_alone_is_sent_to_htmx(self, cast: Walk, outing: Outing) -> None:
        response = signed_in(cast.desk).get(url(cast, "afloat"), headers={"HX-Request": "true"})

        assert b"<html" not in response.content
        assert b"Wren Alder" in response.content

    def test_it_is_protected_and_a_stranger_does_not_see_it(self, cast: Walk, outing: Outing) -> None:
        for name, rest in (("afloat", []), ("rider-out", [outing.pk]), ("safety", []), ("watch-bar", [])):
            address = url(cast, name, *rest)
            protected(signed_in(cast.desk).get(address).headers)
            assert signed_in(cast.neighbour).get(address).status_code == 404
            assert Client().get(address).status_code == 302


class TestTaps:
    def test_what_the_list_sends_along_for_more_time_is_nothing_to_a_sighting(
        self, cast: Walk, outing: Outing
    ) -> None:
        signed_in(cast.instructor).post(url(cast, "seen", outing.pk), {"ask": "extend"})

        assert Sighting.objects.get().outing == outing
        assert again(outing).ends_at == outing.ends_at

    def test_seen(self, cast: Walk, outing: Outing) -> None:
        signed_in(cast.desk).post(url(cast, "seen", outing.pk))

        assert Sighting.objects.get().outing == outing

    def test_seen_in_trouble_with_a_place(self, cast: Walk, outing: Outing) -> None:
        form = {"ask": "see", "bearing_deg": "200", "distance_m": "450", "in_trouble": "on", "note": "swims"}

        signed_in(cast.desk).post(url(cast, "rider-out", outing.pk), form)

        assert (Sighting.objects.get().bearing_deg, Sighting.objects.get().distance_m) == (200, 450)
        assert PhaseChange.objects.filter(phase="distress").exists()

    def test_a_bearing_alone_is_refused_beside_the_distance(self, cast: Walk, outing: Outing) -> None:
        response = signed_in(cast.desk).post(
            url(cast, "rider-out", outing.pk), {"ask": "see", "bearing_deg": "200", "note": "by the buoy"}
        )

        assert response.status_code == 422
        assert "Enter bearing and distance both" in response.content.decode()
        assert 'value="by the buoy"' in response.content.decode()

    def test_longer(self, cast: Walk, outing: Outing) -> None:
        signed_in(cast.instructor).post(url(cast, "rider-out", outing.pk), {"ask": "extend", "minutes": "15"})

        assert again(outing).ends_at == cast.at(13, 15)

    def test_longer_is_refused_in_words(self, cast: Walk, outing: Outing) -> None:
        response = signed_in(cast.instructor).post(
            url(cast, "rider-out", outing.pk), {"ask": "extend", "minutes": "500"}
        )

        assert response.status_code == 422
        assert "between 1 and 180" in response.content.decode()

    def test_swap_leads_to_the_new_outing(self, cast: Walk, outing: Outing) -> None:
        response = signed_in(cast.desk).post(url(cast, "swap-kit", outing.pk))

        rest = Outing.objects.exclude(pk=outing.pk).get()
        assert response["Location"] == url(cast, "outing", rest.pk)

    def test_ashore_comes_back_to_the_page_it_was_tapped_on(self, cast: Walk, outing: Outing) -> None:
        response = signed_in(cast.desk).post(url(cast, "ashore", outing.pk) + "?back=afloat")

        assert response["Location"] == url(cast, "afloat")

    def test_i_have_it(self, cast: Walk, outing: Outing) -> None:
        late = outing.ends_at + 12 * MINUTE
        afloat.watch(actor=LOOKOUT, station_id=cast.tarrow.pk, now=late)

        signed_in(cast.desk).post(url(cast, "acknowledge", outing.pk))

        assert "Taken on by Ida Desk" in shown(signed_in(cast.desk), url(cast, "afloat"))

    def test_a_head_count(self, cast: Walk, outing: Outing) -> None:
        client = signed_in(cast.desk)
        client.post(url(cast, "head-count"), {"counted": "2"})

        assert HeadCount.objects.get().counted == 2
        assert "2 on the water, 1 logged" in shown(client, url(cast, "afloat"))

    def test_a_head_count_that_is_no_number(self, cast: Walk) -> None:
        response = signed_in(cast.desk).post(url(cast, "head-count"), {"counted": "many"})

        assert response.status_code == 422
        assert "whole number" in response.content.decode()

    def test_recall_and_its_end(self, cast: Walk, outing: Outing) -> None:
        client = signed_in(cast.instructor)
        client.post(url(cast, "recall"), {"reason": "Squall"})
        assert "All ashore: called at 10:00 by Jory Instructor. Squall" in shown(client, url(cast, "afloat"))

        client.post(url(cast, "lift-recall"))
        assert not Recall.objects.filter(lifted_at=None).exists()

    def test_a_desk_does_not_lift_a_recall(self, cast: Walk) -> None:
        client = signed_in(cast.desk)
        client.post(url(cast, "recall"))

        assert client.post(url(cast, "lift-recall")).status_code == 403

    def test_lightning_is_taken_back_with_a_reason(self, cast: Walk) -> None:
        cast.watch_the_beach(lightning=True)
        client = signed_in(cast.instructor)
        assert "Was that a mistake?" in shown(client, url(cast, "beach"))

        client.post(url(cast, "no-lightning", BeachLog.objects.get().pk), {"reason": "A welder's flash"})

        assert "Was that a mistake?" not in shown(client, url(cast, "beach"))


class TestTheBar:
    def test_every_page_says_that_the_watch_does_not_look(self, cast: Walk, at: Any) -> None:
        afloat.watch(actor=LOOKOUT, station_id=cast.tarrow.pk, now=cast.now)
        at(cast.now + 61 * MINUTE / 60)

        for name in ("today", "riders", "kit", "bench", "beach", "weather", "afloat"):
            assert "has not looked since 10:00:00" in shown(signed_in(cast.desk), url(cast, name))

    def test_it_is_quiet_while_the_watch_looks(self, cast: Walk) -> None:
        afloat.watch(actor=LOOKOUT, station_id=cast.tarrow.pk, now=cast.now)

        assert "has not looked" not in shown(signed_in(cast.desk), url(cast, "today"))
        assert shown(signed_in(cast.desk), url(cast, "watch-bar")).strip() == ""

    def test_an_open_page_asks_often_enough_to_say_so_within_ninety_seconds(self, cast: Walk) -> None:
        page = signed_in(cast.desk).get(url(cast, "riders")).content.decode()

        every = re.search(r'hx-get="[^"]*/watch/" hx-trigger="load, every (\d+)s"', page)
        assert every is not None
        assert int(every[1]) + 60 < 90

    def test_with_a_dead_worker_the_bar_raises_what_has_begun(
        self, cast: Walk, outing: Outing, at: Any
    ) -> None:
        at(outing.ends_at + 41 * MINUTE)

        text = shown(signed_in(cast.desk), url(cast, "watch-bar"))

        assert "has not looked" in text
        assert "1 rider overdue (distress) and nobody has taken it on" in text
        assert PhaseChange.objects.count() == 3

    def test_mail_that_does_not_go_out_is_told(self, cast: Walk, at: Any) -> None:
        Letter.objects.create(event="x", to="a@b.invalid", subject="s", body="b", written_at=cast.now)
        at(cast.now + 6 * MINUTE)

        assert "not going out, since 10:00" in shown(signed_in(cast.desk), url(cast, "watch-bar"))


FORM = {
    "ask": "safety",
    "uncertainty_min": "5",
    "alert_min": "12",
    "distress_min": "20",
    "cold_water_c": "17,5",
    "sunset_min": "90",
    "acknowledge_min": "3",
    "riders_per_instructor": "6",
    "riders_without_boat": "3",
    "soft.suit": "on",
}


class TestSafetySettings:
    def test_a_manager_sets_them_and_the_journal_says_from_what_to_what(self, cast: Walk) -> None:
        signed_in(cast.manager).post(url(cast, "safety"), FORM)

        station = Station.objects.get(pk=cast.tarrow.pk)
        assert (station.uncertainty_min, station.cold_water_c, station.soft_gates) == (5, 17.5, ["suit"])
        assert station.hard_gates["wind_now"]
        line = Entry.objects.about("station", station.pk)[0]
        assert line.data["uncertainty_min"] == [10, 5]
        assert "uncertainty min 10 → 5" in line.text

    @pytest.mark.parametrize(
        ("wrong", "words"),
        [
            ({"alert_min": "5"}, "more minutes than for uncertainty"),
            ({"distress_min": "12"}, "more minutes than for alert"),
            ({"acknowledge_min": "0"}, "between 1 and 60"),
            ({"riders_without_boat": "7"}, "no more riders than with the safety boat"),
        ],
    )
    def test_what_does_not_hold_together_is_refused_beside_its_field(
        self, cast: Walk, wrong: dict[str, str], words: str
    ) -> None:
        response = signed_in(cast.manager).post(url(cast, "safety"), {**FORM, **wrong})

        assert response.status_code == 422
        assert words in response.content.decode()
        assert Station.objects.get(pk=cast.tarrow.pk).uncertainty_min == 10

    def test_others_see_them_and_set_nothing(self, cast: Walk) -> None:
        client = signed_in(cast.instructor)
        assert "Always hard: buoyancy aid" in shown(client, url(cast, "safety"))

        client.post(url(cast, "safety"), FORM)

        assert Station.objects.get(pk=cast.tarrow.pk).uncertainty_min == 10

    def test_who_is_told_next(self, cast: Walk) -> None:
        form = {"ask": "contacts", "contacts.1.name": "Maud", "contacts.1.email": "maud@tarrow.invalid"}

        signed_in(cast.manager).post(url(cast, "safety"), form)

        assert [(each.place, each.name) for each in WatchContact.objects.all()] == [(1, "Maud")]

    def test_a_contact_without_an_address_is_refused_beside_their_row(self, cast: Walk) -> None:
        form = {"ask": "contacts", "contacts.2.name": "Maud", "contacts.2.email": "maud"}

        response = signed_in(cast.manager).post(url(cast, "safety"), form)

        assert response.status_code == 422
        assert 'id="id_contacts.2.email_error"' in response.content.decode()

    def test_the_secret_is_shown_once(self, cast: Walk) -> None:
        client = signed_in(cast.manager)

        page = client.post(url(cast, "safety"), {"ask": "hook", "url": "https://alarm.example/late"})

        secret = Hook.objects.get().secret
        assert secret in page.content.decode()
        assert secret not in client.get(url(cast, "safety")).content.decode()

    def test_posting_is_stopped(self, cast: Walk) -> None:
        client = signed_in(cast.manager)
        client.post(url(cast, "safety"), {"ask": "hook", "url": "https://alarm.example/late"})

        client.post(url(cast, "safety"), {"ask": "no-hook"})

        assert Hook.objects.get().stopped_at is not None

    def test_a_gate_that_a_station_hardened_takes_no_reason(self, cast: Walk) -> None:
        outing = cast.issued()
        Station.objects.update(soft_gates=[])
        cast.now += 2 * HOUR  # the wind is measured too long ago now

        check = cast.look_over(outing, at=cast.now, overrides={"wind_now": "Looks fine"})

        assert not check.passed


class TestHealth:
    def test_it_is_well_while_the_watch_looks(self, cast: Walk, at: Any) -> None:
        afloat.watch(actor=LOOKOUT, station_id=cast.tarrow.pk, now=cast.now)

        response = Client().get("/health/")

        assert response.status_code == 200
        assert json.loads(response.content)["status"] == "ok"

    def test_a_missed_beat_fails_it(self, cast: Walk, at: Any) -> None:
        afloat.watch(actor=LOOKOUT, station_id=cast.tarrow.pk, now=cast.now)
        at(cast.now + timedelta(seconds=61))

        response = Client().get("/health/")

        assert response.status_code == 503
        assert json.loads(response.content)["checks"] == {
            "database": "ok",
            "watch": "failing",
            "outbox": "ok",
        }

    def test_pages_are_served_all_the_same(self, cast: Walk) -> None:
        assert cast.tarrow.watched_at is None

        assert Client().get("/health/ready/").status_code == 200

    def test_a_database_that_is_away_fails_all_but_the_process(self, monkeypatch: pytest.MonkeyPatch) -> None:
        class Gone:
            def cursor(self) -> None:
                raise DatabaseError("gone")

        monkeypatch.setattr("rentals.afloat.queries.out.connection", Gone())

        statuses = {name: Client().get(f"/health/{name}").status_code for name in ("", "ready/", "live/")}

        assert statuses == {"": 503, "ready/": 503, "live/": 200}

    def test_it_says_nothing_of_anybody(self, cast: Walk, outing: Outing, at: Any) -> None:
        at(outing.ends_at + HOUR)

        said = Client().get("/health/").content.decode()

        assert set(re.findall(r'"(\w+)"', said)) == {
            "status", "failing", "checks", "database", "ok", "watch", "outbox",
        }  # fmt: skip
