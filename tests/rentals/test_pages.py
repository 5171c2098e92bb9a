"""Every page of the walk: who sees it, what it asks the database, and what protects it."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.bookings.models import Outing, Party
from rentals.errands.models import ErrandKind
from rentals.lib import clock
from rentals.weather.models import Source
from tests.rentals.browser import protected, signed_in
from tests.rentals.busy import fill
from tests.rentals.errands.under_way import wanted
from tests.rentals.lessons.school import School
from tests.rentals.takings.shop import PriceList, Shop
from tests.rentals.walk import Walk

MOST_QUERIES = 12
WHO_AND_WHERE = ["django_session", "people_user", "people_posting", "stations_station"]
"""What every page of a station asks first."""

LIFE = ["fleet_item", "bench_inspection", "bench_interval"]
OFFERS = ["bookings_kitpart", "fleet_item", "weather_hour", "stations_windlimit"]
KIT_AND_LIMITS = ["bookings_kitpart", "weather_hour", "stations_windlimit"]
BEACH = ["weather_observation", "afloat_beachlog"]


@dataclass(frozen=True)
class Page:
    """A page, the rows that its address needs, the tables it asks, in order, and who sees it."""

    name: str
    asks: list[str]
    of: Callable[[Walk], list[object]] = lambda cast: []
    address: str = ""
    who: tuple[str, ...] = ("desk", "instructor", "manager")
    most: int = MOST_QUERIES

    def url(self, cast: Walk) -> str:
        return reverse(self.address or self.name, args=[cast.tarrow.slug, *self.of(cast)])

    def __str__(self) -> str:
        return self.name


def after(_made: object) -> list[object]:
    """No rows for the address: what was made is only to be there."""
    return []


def written_to(cast: Walk) -> Outing:
    """An outing of a party with an address."""
    (outing,) = cast.booked()
    Party.objects.filter(pk=outing.booking.party_id).update(contact_email="wren@alder.invalid")
    return outing


PAGES = [
    Page(
        "today",
        [
            "bookings_outing",
            "weather_run",
            "weather_hour",
            *BEACH,
            "afloat_phasechange",
            "bookings_kitpart",
            "stations_station",
        ],
        # Riders afloat are among the outings; their kit is one query for all.
        lambda cast: after(cast.out()),
    ),
    Page(
        "issue-party",
        ["bookings_outing", "bookings_kitpart"],
        lambda cast: [cast.kitted().booking_id],
    ),
    Page(
        "outing that is booked",
        ["bookings_outing", *OFFERS, "rigs_card", "audit_entry", "takings_terms"],
        lambda cast: [cast.booked()[0].pk],
        "outing",
    ),
    Page(
        "outing with its kit",
        ["bookings_outing", *OFFERS, "bookings_kitpart", "rigs_card", "audit_entry", "takings_terms"],
        lambda cast: [cast.kitted().pk],
        "outing",
        most=13,
    ),
    Page(
        "outing afloat",
        ["bookings_outing", *OFFERS, "rigs_card", "audit_entry", "takings_terms"],
        lambda cast: [cast.out().pk],
        "outing",
    ),
    Page(
        "outing of a party that is written to",
        ["bookings_outing", *OFFERS, "rigs_card", "audit_entry", "mail_letter", "takings_terms"],
        lambda cast: [written_to(cast).pk],
        "outing",
        most=13,
    ),
    Page("card", ["bookings_outing", "rigs_card", "fleet_item"], lambda cast: [cast.kitted().pk]),
    Page(
        "launch-check",
        [
            "bookings_outing",
            "bookings_kitpart",
            "checklists_checklist",
            "weather_hour",
            "stations_windlimit",
            *BEACH,
            "bookings_outing",
        ],
        lambda cast: [cast.issued().pk],
    ),
    Page(
        "return-check",
        ["bookings_outing", "checklists_checklist", "bookings_kitpart"],
        lambda cast: [cast.out().pk],
    ),
    Page("kit", ["fleet_item"], lambda cast: after(cast.shed)),
    Page(
        "item",
        [
            *LIFE,
            "fleet_holdback",
            "bench_job",
            "audit_entry",
            "bookings_kitpart",
            "bench_wearposting",
        ],
        lambda cast: [cast.faulty("S1").item.tag],
    ),
    Page("station", ["stations_windlimit", "people_posting"]),
    Page("bench", ["bench_job", "bench_jobline", "bench_photo"], lambda cast: after(cast.mended("S1"))),
    Page("riders", ["people_rider"], lambda cast: after(cast.wren)),
    Page("rider", ["people_rider", "people_medicalnote", "takings_pass"], lambda cast: [cast.wren.pk]),
    Page("hand-over", ["people_rider", "home_signature", "home_front"], lambda cast: [cast.moss.pk]),
    Page("book", ["people_rider"], lambda cast: after(cast.wren)),
    Page("beach", [*BEACH, "bookings_outing"]),
    Page("labels", ["fleet_item"], lambda cast: after(cast.shed)),
    Page("shed", [], lambda cast: after(cast.shed)),
    Page(
        "inspections",
        ["bench_inspection", "fleet_holdback", "bench_interval", "fleet_item"],
        lambda cast: after(cast.shed),
    ),
    Page("intervals", ["bench_setting", "fleet_itemmodel", "bench_interval"], lambda cast: after(cast.shed)),
    Page("job", ["bench_job", "bench_jobline", "bench_photo"], lambda cast: [cast.faulty("S1").pk]),
    Page("kit-recalls", ["fleet_itemmodel", "bench_kitrecall"], lambda cast: after(cast.shed)),
    Page(
        "lessons",
        ["lessons_lesson", "lessons_seat", "lessons_assignment", "weather_hour"],
        lambda cast: after(School(cast).lesson()),
    ),
    Page(
        "lesson",
        [
            "lessons_lesson",
            "lessons_seat",
            "lessons_assignment",
            "weather_hour",
            "fleet_hold",
            "lessons_notice",
            "lessons_lesson",
            "people_user",
            "lessons_qualification",
            "lessons_qualification",
            "lessons_absence",
            "lessons_assignment",
            "lessons_shift",
        ],
        lambda cast: [School(cast).lesson().pk],
        most=17,
    ),
    Page(
        "roster",
        [
            "people_user",
            "lessons_qualification",
            "lessons_shift",
            "lessons_assignment",
            "lessons_absence",
            "lessons_feed",
        ],
    ),
    Page("incidents", ["incidents_followup", "incidents_telling"]),
    Page("check-list", ["checklists_checklist", "checklists_checklist"], lambda cast: ["launch"]),
    Page(
        "prices",
        ["takings_terms", "takings_price", "takings_taxrate", "takings_cancelrule"],
        lambda cast: after(PriceList(cast)),
    ),
    Page(
        "credits", ["takings_ledgerentry", "takings_voucher"], lambda cast: after(Shop(cast).sell_voucher())
    ),
    Page(
        "credit",
        ["takings_voucher", "takings_ledgerentry", "takings_terms"],
        lambda cast: [Shop(cast).sell_voucher().code],
    ),
    Page("storage", ["takings_stored"], lambda cast: after(cast.shed)),
    Page(
        "cancel",
        ["bookings_outing", "takings_terms"],
        lambda cast: [cast.booked()[0].pk],
        who=("desk", "manager"),
    ),
    Page("safety", ["afloat_watchcontact", "mail_hook"]),
    Page(
        "afloat",
        [
            "bookings_outing",
            *BEACH,
            "weather_hour",
            "afloat_phasechange",
            "afloat_sighting",
            "bookings_kitpart",
            "stations_windlimit",
            "afloat_recall",
            "fleet_holdback",
            "afloat_headcount",
            "audit_entry",
            "afloat_latecheck",
        ],
        lambda cast: after(cast.out()),
        most=17,
    ),
    Page("rig-up", ["dayplan_plan"], lambda cast: after(cast.kitted())),
    Page(
        "takings",
        [
            "takings_terms",
            "takings_ledgerentry",
            "takings_charge",
            "takings_ledgerentry",
            "takings_dayclose",
            "takings_ledgerentry",
            "bookings_party",
        ],
        lambda cast: after(PriceList(cast)),
    ),
    Page(
        "life",
        [
            "review_modelcost",
            "bench_wearposting",
            "bench_wearposting",
            "review_faultage",
            "bench_job",
            "fleet_item",
        ],
        lambda cast: after(cast.shed),
        who=("instructor", "manager"),
    ),
    Page(
        "review",
        [
            "dayplan_plan",
            "incidents_telling",
            "fleet_item",
            "bench_wearposting",
            "bench_job",
            "bench_job",
            "review_modelcost",
            "bookings_outing",
            "bench_inspection",
            "fleet_holdback",
            "bench_jobline",
            "takings_ledgerentry",
            "bookings_outing",
        ],
        lambda cast: after(cast.shed),
        who=("manager",),
        most=17,
    ),
    Page("rig-crew", ["dayplan_crew"], who=("manager",)),
    Page(
        "privacy",
        [
            "home_tally",
            "django_session",
            "audit_once",
            "home_link",
            "mail_letter",
            "people_rider",
            "people_rider",
        ],
    ),
    Page("from-home", ["home_front", "home_guest"]),
    Page("outbox", ["mail_letter"]),
    Page("lacks", ["dayplan_study"], lambda cast: after(cast.shed), who=("manager",)),
    Page("closing", ["bookings_outing", "bookings_outing", "bookings_kitpart", *BEACH, "incidents_closing"]),
    Page("first-steps", ["stations_station", "errands_errand"], lambda cast: after(cast.shed)),
    Page(
        "errand", ["errands_errand"], lambda cast: [wanted(cast, ErrandKind.LOAD_DEMO).pk], who=("manager",)
    ),
    Page("weather", ["weather_run", "weather_hour", "weather_observation", "weather_source"]),
]
OF_A_STATION = {
    "afloat",
    "beach",
    "bench",
    "book",
    "check-list",
    "closing",
    "credits",
    "first-steps",
    "from-home",
    "incidents",
    "inspections",
    "intervals",
    "kit",
    "kit-recalls",
    "labels",
    "lacks",
    "lessons",
    "life",
    "outbox",
    "prices",
    "privacy",
    "review",
    "rig-crew",
    "rig-up",
    "riders",
    "roster",
    "safety",
    "shed",
    "station",
    "storage",
    "takings",
    "today",
    "weather",
}
"""Pages whose address names no row."""

TAPS = ["issue", "launch", "ashore"]
"""Buttons on an outing that post to an address of their own."""


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


def asked(client: Client, url: str) -> list[str]:
    """The table that each query of a page asks first."""
    with CaptureQueriesContext(connection) as queries:
        assert client.get(url).status_code == 200
    return [re.findall(r'FROM "(\w+)"(?! U0)', query["sql"])[0] for query in queries]


class TestEachPage:
    @pytest.mark.parametrize("page", PAGES, ids=str)
    def test_whoever_may_of_the_station_sees_it_protected(self, cast: Walk, page: Page) -> None:
        url = page.url(cast)

        for role in ("desk", "instructor", "manager"):
            response = signed_in(getattr(cast, role)).get(url)
            assert response.status_code == (200 if role in page.who else 403)
            assert cast.tarrow.name in response.content.decode()
            protected(response.headers)

    @pytest.mark.parametrize("page", PAGES, ids=str)
    def test_it_asks_each_table_once(self, cast: Walk, page: Page) -> None:
        url = page.url(cast)

        found = asked(signed_in(getattr(cast, page.who[0])), url)

        assert found == [*WHO_AND_WHERE, *page.asks]
        assert len(found) <= page.most

    @pytest.mark.parametrize("page", PAGES, ids=str)
    def test_to_a_stranger_it_does_not_exist_and_nobody_is_asked_to_sign_in(
        self, cast: Walk, page: Page
    ) -> None:
        url = page.url(cast)

        assert signed_in(cast.neighbour).get(url).status_code == 404
        assert signed_in(cast.stranger).get(url).status_code == 404
        response = Client().get(url)
        assert (response.status_code, response["Location"]) == (302, f"/sign-in/?next={url}")

    @pytest.mark.parametrize("page", [page for page in PAGES if page.name not in OF_A_STATION], ids=str)
    def test_its_rows_do_not_show_under_another_station(self, cast: Walk, page: Page) -> None:
        url = page.url(cast).replace(cast.tarrow.slug, cast.kettle.slug)

        assert signed_in(cast.instructor).get(url).status_code == 404


class TestTwiceAsMany:
    """A list asks no more when there is twice as much to show."""

    @pytest.mark.parametrize(
        "name", ["today", "bench", "kit", "riders", "book", "weather", "inspections", "labels", "rig-up"]
    )
    def test_a_list_asks_no_more(self, cast: Walk, name: str) -> None:
        client, url = signed_in(cast.desk), reverse(name, args=[cast.tarrow.slug])
        self.grow(cast, "first")
        before = len(asked(client, url))

        self.grow(cast, "second")

        assert len(asked(client, url)) == before

    @pytest.mark.parametrize("name", ["today", "afloat", "rig-up"])
    def test_a_day_of_ten_times_as_many_outings_asks_no_more(self, cast: Walk, name: str) -> None:
        client, url = signed_in(cast.desk), reverse(name, args=[cast.tarrow.slug])
        fill(cast, 6, "Few")
        before = len(asked(client, url))

        fill(cast, 54, "Many")

        assert len(asked(client, url)) == before

    def test_an_outing_asks_no_more_for_a_longer_story(self, cast: Walk) -> None:
        outing = cast.kitted()
        client, url = signed_in(cast.desk), reverse("outing", args=[cast.tarrow.slug, outing.pk])
        before = len(asked(client, url))

        cast.kit(outing, sail_id=cast.shed["S1"].pk, override_reason="Asked for it")
        cast.one_more("S9", like="S2")

        assert len(asked(client, url)) == before

    def grow(self, cast: Walk, name: str) -> None:
        assert cast.shed
        cast.blow()
        outings = [cast.booked(cast.rider(f"{name} {number}", level="advanced"))[0] for number in range(3)]
        if name == "first":
            cast.kit(outings[0])
        tag = "S1" if name == "first" else "B1"
        cast.faulty(tag)
        cast.one_more(f"{name[0]}9", like="M3")
        Source.objects.create(station=cast.tarrow, kind="taf", url=f"https://met.invalid/{name}")


class TestTaps:
    @pytest.mark.parametrize("tap", TAPS)
    def test_from_another_station_there_is_nothing_to_tap(self, cast: Walk, tap: str) -> None:
        outing = cast.cleared()
        rhys = signed_in(cast.neighbour)

        assert rhys.post(reverse(tap, args=[cast.tarrow.slug, outing.pk])).status_code == 404
        assert rhys.post(reverse(tap, args=[cast.kettle.slug, outing.pk])).status_code == 404
        assert Outing.objects.get().state == "cleared"

    @pytest.mark.parametrize("tap", TAPS)
    def test_a_look_changes_nothing(self, cast: Walk, tap: str) -> None:
        (outing,) = cast.booked()

        assert signed_in(cast.desk).get(reverse(tap, args=[cast.tarrow.slug, outing.pk])).status_code == 405

    @pytest.mark.parametrize("tap", TAPS)
    def test_without_the_page_s_own_token_nothing_is_tapped(self, cast: Walk, tap: str) -> None:
        (outing,) = cast.booked()
        client = Client(enforce_csrf_checks=True)
        client.force_login(cast.desk)

        assert client.post(reverse(tap, args=[cast.tarrow.slug, outing.pk])).status_code == 403

    def test_who_may_not_is_told_who_may(self, cast: Walk) -> None:
        outing = cast.cleared()

        response = signed_in(cast.desk).post(reverse("launch", args=[cast.tarrow.slug, outing.pk]))

        assert response.status_code == 403
        assert "instructor or manager" in response.content.decode()
        protected(response.headers)

    def test_what_has_moved_on_is_a_conflict_said_in_words(self, cast: Walk) -> None:
        (outing,) = cast.booked()

        response = signed_in(cast.desk).post(reverse("ashore", args=[cast.tarrow.slug, outing.pk]))

        assert response.status_code == 409
        assert "The outing is booked" in response.content.decode()

    @pytest.mark.parametrize(
        "written",
        [
            "",
            "one",
            "-1",
            "²",
        ],
    )
    def test_a_number_that_is_none_is_no_kit(self, cast: Walk, written: str) -> None:
        url = reverse("issue", args=[cast.tarrow.slug, cast.kitted().pk])

        assert signed_in(cast.desk).post(url, {"kit_no": written}).status_code == 409


class TestAddresses:
    @pytest.mark.parametrize("name", ["today", "weather"])
    @pytest.mark.parametrize("day", ["2027-07-15", "soon", "2027-02-30", "0001-01-01", "9999-12-31", ""])
    def test_any_day_is_answered(self, cast: Walk, name: str, day: str) -> None:
        response = signed_in(cast.desk).get(reverse(name, args=[cast.tarrow.slug]), {"day": day})

        assert response.status_code == 200

    def test_an_item_is_found_by_its_tag_in_any_case(self, cast: Walk) -> None:
        assert cast.shed
        assert signed_in(cast.desk).get(reverse("item", args=[cast.tarrow.slug, "s1"])).status_code == 200

    @pytest.mark.parametrize(
        ("name", "args"), [("outing", [0]), ("card", [0]), ("item", ["X99"]), ("rider", [0])]
    )
    def test_what_is_not_there_is_not_found(self, cast: Walk, name: str, args: list[object]) -> None:
        response = signed_in(cast.desk).get(reverse(name, args=[cast.tarrow.slug, *args]))

        assert response.status_code == 404
        protected(response.headers)

    def test_one_station_is_gone_to_at_once(self, cast: Walk) -> None:
        response = signed_in(cast.desk).get("/")

        assert response["Location"] == reverse("today", args=[cast.tarrow.slug])

    def test_of_several_one_is_chosen(self, cast: Walk) -> None:
        page = signed_in(cast.instructor).get("/").content.decode()

        assert cast.tarrow.name in page
        assert cast.kettle.name in page

    def test_somebody_without_a_post_is_told_whom_to_ask(self, cast: Walk) -> None:
        assert "Ask a manager" in signed_in(cast.stranger).get("/").content.decode()
