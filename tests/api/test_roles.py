"""Every address and method against every role: what each is answered. A new address without a row fails."""

import typing
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password

from api.urls import urlpatterns
from rentals.bench.services import recall_kit
from rentals.bookings.models import Outing, Party
from rentals.incidents import services as incidents
from rentals.lessons.models import Lesson
from rentals.lessons.services import CourseFacts, plan_course
from rentals.takings import services as takings
from rentals.weather.models import Kind
from rentals.weather.services import add_source
from rigging.checks.lists import CLOSING
from rigging.wear import planned
from tests.api.bodies import (
    BEACH,
    a_look,
    a_party,
    a_party_at_home,
    a_party_of_pupils,
    a_rider,
    a_wind,
)
from tests.api.client import Api
from tests.api.plans import a_day, a_wish, asked, listed, ready
from tests.cast import PASSWORD, Cast
from tests.rentals.home.house import House
from tests.rentals.takings.shop import PriceList
from tests.rentals.walk import Walk

TAF = b"TAF LPMA 140500Z 1406/1506 33018G28KT 9999 FEW020="
ROLES = ("nobody", "desk", "instructor", "manager", "neighbour")

Place = Callable[[Cast], str]
Body = Callable[[Cast], Any]
METHODS = ("get", "post", "put", "delete")


@dataclass(frozen=True)
class Row:
    """One address and method: where it is, what is sent, and what each role is answered."""

    name: str
    method: str
    place: Place
    body: Body | None
    codes: tuple[int, int, int, int, int]


def at_tarrow(rest: str = "") -> Place:
    """An address under Tarrow Lagoon."""
    return lambda cast: f"/stations/{cast.tarrow.slug}/{rest}"


def of_an_outing(state: str, rest: str = "") -> Place:
    """An address under an outing that has come so far."""
    return lambda cast: f"/outings/{_outing(cast, state)}/{rest}"


def _outing(cast: Cast, state: str) -> int:
    if state == "booked":
        return cast.booked(cast.wren)[0].pk
    pk: int = getattr(cast, state)(cast.wren).pk
    return pk


def _kit(cast: Cast) -> dict[str, Any]:
    cast.blow()
    return {"sail_id": cast.shed["S2"].pk, "board_id": cast.shed["D1"].pk}


def _nothing_back(cast: Cast) -> dict[str, Any]:
    return {"lines": []}


def _signed_up(cast: Cast) -> dict[str, str]:
    cast.desk.password = make_password(PASSWORD)
    cast.desk.save()
    return {"username": cast.desk.username, "password": PASSWORD}


def _json(body: Any) -> Body:
    return lambda _cast: body


def _a_day(cast: Cast) -> dict[str, str]:
    a_day(cast)
    return {"day": cast.now.date().isoformat()}


def _a_party_asks(cast: Cast) -> dict[str, Any]:
    assert cast.shed
    cast.blow()
    return a_wish()


def of_a_plan(rest: str = "") -> Place:
    """An address under a plan that is ready."""
    return lambda cast: f"/plans/{ready(cast).pk}/{rest}"


def _another_sail(cast: Cast) -> dict[str, Any]:
    return {"outing_id": Outing.objects.get().pk, "sail": "Samphire 5.0"}


AN_INCIDENT: dict[str, Any] = {
    "kind": "near_miss",
    "severity": "none",
    "happened_at": "2027-07-14T09:30+01:00",
    "words": "The boom came off; the rider swam in.",
}
WORDS = {"words": "Rang the rider"}


def of_an_incident(rest: str = "", *, closed: bool = False) -> Place:
    """An address under an incident just reported."""

    def place(cast: Cast) -> str:
        told = incidents.Told(
            kind="loss", severity="none", cause="unknown", happened_at=cast.now, words="A fin is gone."
        )
        made = incidents.report_incident(actor=cast.boss, station_id=cast.tarrow.pk, told=told, now=cast.now)
        if closed:
            incidents.close_incident(actor=cast.boss, incident_id=made.pk, words="Found", now=cast.now)
        return f"/incidents/{made.pk}/{rest}"

    return place


def _a_signed_day(cast: Cast) -> str:
    incidents.sign_day(
        actor=cast.boss,
        station_id=cast.tarrow.pk,
        day=cast.now.date(),
        ticked=frozenset(key for key, _ in CLOSING),
        name="Maud",
        now=cast.now,
    )
    return f"/stations/{cast.tarrow.slug}/closing/reopen/"


def _house(cast: Cast) -> House:
    # Opening the page and booking ask no more of it than the cast has.
    house = House(typing.cast(Walk, cast))
    house.open()
    return house


def from_home(rest: str = "") -> Place:
    """An address under the open page of Tarrow Lagoon."""
    return lambda cast: f"/from-home/{_house(cast).cast.tarrow.slug}/{rest}"


def behind_a_token(rest: str = "") -> Place:
    """An address of a party that booked from home."""

    def place(cast: Cast) -> str:
        house = _house(cast)
        return f"/from-home/{cast.tarrow.slug}/b/{house.token(house.book())}/{rest}"

    return place


def _a_free_seat(cast: Cast) -> str:
    return f"{from_home()(cast)}lessons/{_lesson(cast)}/bookings/"


AT_FOUR = {"starts_at": "2027-07-14T16:00+01:00", "ends_at": "2027-07-14T18:00+01:00"}


def _thunder(cast: Cast) -> dict[str, str]:
    cast.watch_the_beach(lightning=True)
    return {"reason": "A firework"}


A_SOURCE: dict[str, Any] = {"kind": "taf", "url": "https://met.invalid/taf.txt", "every_min": 30}


def _a_source(cast: Cast) -> str:
    source = add_source(
        actor=cast.boss, station_id=cast.tarrow.pk, kind=Kind.TAF, url=A_SOURCE["url"], now=cast.now
    )
    return f"/stations/{cast.tarrow.slug}/weather/sources/{source.pk}/"


def _costs_of_a_sail(cast: Cast) -> str:
    return f"/stations/{cast.tarrow.slug}/costs/{cast.shed['S1'].model_id}/"


COSTS = {"new_cost": "420.00", "fault_cost": "60.00"}
A_COURSE: dict[str, Any] = {
    "name": "First steps",
    "level": "beginner",
    "language": "en",
    "seats": 4,
    "riders_to_one": 6,
    "children_to_one": 4,
    "youngest_years": 8,
    "low_ms": 3,
    "high_ms": 7,
    "lessons": [{"starts_at": "2027-07-14T14:00+01:00", "ends_at": "2027-07-14T16:00+01:00"}],
}
AN_ENROLMENT = {"contact": {"name": "Tansy", "phone": "0700 1"}, "new_riders": [a_rider()]}


def of_a_lesson(rest: str = "") -> Place:
    """An address under a lesson of this afternoon."""
    return lambda cast: f"/lessons/{_lesson(cast)}/{rest}"


def _lesson(cast: Cast) -> int:
    facts = {name: value for name, value in A_COURSE.items() if name != "lessons"}
    course = plan_course(
        actor=cast.boss,
        station_id=cast.tarrow.pk,
        facts=CourseFacts(**facts),
        spans=[(cast.at(14), cast.at(16))],
        now=cast.now,
    )
    return Lesson.objects.get(course=course).pk


A_WISH: dict[str, Any] = {"wanted": [{"good": "harness", "unit": "piece", "day": "2027-07-14"}]}


def _priced(cast: Cast) -> str:
    return f"/stations/{PriceList(cast).cast.tarrow.slug}/"


FIVE_EUROS = {"amount": "5.00", "method": "cash", "note": "Paid ahead"}


def _a_party(cast: Cast) -> str:
    """A party with an outing at a station with prices."""
    assert PriceList(cast)
    return f"/parties/{cast.booked()[0].booking.party_id}/"


def _paid_ahead(cast: Cast) -> str:
    place = _a_party(cast)
    paid = takings.Paid(amount=Decimal(5), method="cash")
    takings.take_payment(actor=cast.boss, party_id=int(place.split("/")[2]), paid=paid, now=cast.now)
    return place


A_PRICE = {"good": "full-kit", "unit": "hour", "amount": "27", "valid_from": "2027-08-01"}
AN_END = {"good": "full-kit", "unit": "week", "valid_from": "2027-08-01"}
A_GOOD = {"name": "Fin", "kind": "extra", "tax": "standard"}
A_SEASON = {"name": "August", "first_day": "2027-08-01", "last_day": "2027-08-31"}
A_RATE = {"name": "standard", "pct": "24", "since": "2028-01-01"}
TERMS = {"currency": "EUR", "seller_name": "Tarrow"}
GOODS = {"goods": [{"good": "harness", "unit": "piece", "count": 2}]}
DAMAGE = {"text": "Fin", "amount": "30", "good": "harness", "why": "Ran aground"}
A_CREDIT = {"amount": "5", "why": "Comes again"}
A_RULE = {"free_hours": 24, "share_pct": 50, "missed_pct": 100}
A_BOARD = {"good": "store", "unit": "week", "first_day": "2027-07-14", "what": "Board"}
A_CLOSE = {"day": "2027-07-14", "cash": "0", "left": "0"}


def _account_of_a_booking(cast: Cast) -> str:
    assert PriceList(cast)
    return f"/bookings/{cast.booked()[0].booking_id}/account/"


def _a_season(cast: Cast) -> str:
    season = PriceList(cast).keep_season("August", date(2027, 8, 1), date(2027, 8, 31))
    return f"/stations/{cast.tarrow.slug}/seasons/{season.pk}/"


def _owing(cast: Cast) -> str:
    """A party that owes a fin."""
    place = _a_party(cast)
    _fin(cast, place)
    return place


def _fin(cast: Cast, place: str) -> int:
    named = takings.Named(text="Fin", amount=Decimal(30), good="harness", why="Ran aground")
    return takings.charge_named(
        actor=cast.boss, party_id=int(place.split("/")[2]), named=named, now=cast.now
    ).pk


def _a_charge(cast: Cast) -> str:
    return f"/charges/{_fin(cast, _a_party(cast))}/take-back/"


def _held(cast: Cast) -> str:
    """A party that owes a fin, its damage excess held."""
    place = _owing(cast)
    paid = takings.Paid(amount=Decimal(50), method="cash")
    takings.hold_excess(actor=cast.boss, party_id=int(place.split("/")[2]), paid=paid, now=cast.now)
    return place


def _voucher(cast: Cast, party_id: int) -> str:
    paid = takings.Paid(amount=Decimal(20), method="cash")
    return takings.sell_voucher(actor=cast.boss, party_id=party_id, paid=paid, now=cast.now).code


def _a_voucher(cast: Cast) -> str:
    code = _voucher(cast, int(_a_party(cast).split("/")[2]))
    return f"/stations/{cast.tarrow.slug}/credits/{code}/"


def _a_code(cast: Cast) -> dict[str, str]:
    return {"code": _voucher(cast, Party.objects.get().pk)}


def _a_pass(cast: Cast) -> dict[str, Any]:
    return {"rider_id": cast.wren.pk, "good": "full-kit", "unit": "card", "first_day": "2027-07-14"}


def _a_priced_outing(cast: Cast) -> str:
    assert PriceList(cast)
    return f"/outings/{cast.booked()[0].pk}/cancel/"


def _a_stored_board(cast: Cast) -> str:
    party = int(_a_party(cast).split("/")[2])
    facts: dict[str, Any] = {**A_BOARD, "count": 1, "first_day": date(2027, 7, 14)}
    stored = takings.store_kit(actor=cast.boss, party_id=party, **facts, now=cast.now)
    return f"/stored/{stored.pk}/fetch/"


def _no_wind(cast: Cast) -> str:
    assert PriceList(cast)
    outing = cast.booked()[0]
    takings.charge_due(actor=cast.boss, party_id=outing.booking.party_id, now=cast.now)
    return f"/outings/{outing.pk}/no-wind/"


def _a_look(cast: Cast) -> dict[str, Any]:
    plan = planned("sail")[0]
    return {"name": plan.rule.name, "in_order": list(range(len(plan.points)))}


def _a_recall(cast: Cast) -> dict[str, Any]:
    return {"model_id": cast.shed["M1"].model_id, "reason": "Ferrule may crack"}


def of_a_recall(rest: str = "") -> Place:
    """An address under a recall of a mast."""

    def place(cast: Cast) -> str:
        made = recall_kit(
            actor=cast.boss, station_id=cast.tarrow.pk, batch="", now=cast.now, **_a_recall(cast)
        )
        return f"/kit-recalls/{made.pk}/{rest}"

    return place


EVERYBODY = (200, 200, 200, 200, 200)
EVERYBODY_MAKES = (201, 201, 201, 201, 201)
SIGNED_IN = (401, 200, 200, 200, 200)
LOOK = (401, 200, 200, 200, 404)
ALL_DO = (401, 200, 200, 200, 404)
ALL_MAKE = (401, 201, 201, 201, 404)
OFFICE_MAKES = (401, 201, 403, 201, 404)
OFFICE_DOES = (401, 200, 403, 200, 404)
BEACH_MAKES = (401, 403, 201, 201, 404)
BEACH_DOES = (401, 403, 200, 200, 404)
MANAGER_MAKES = (401, 403, 403, 201, 404)
MANAGER_DOES = (401, 403, 403, 200, 404)

ROWS = (
    Row("schema", "get", lambda _: "/schema", None, SIGNED_IN),
    Row("problem-kind", "get", lambda _: "/problems/not-found/", None, EVERYBODY),
    Row("nothing", "get", lambda _: "/somewhere/else/", None, (404, 404, 404, 404, 404)),
    Row("tokens", "post", lambda _: "/auth/tokens/", _signed_up, (201, 201, 201, 201, 201)),
    Row("current-token", "delete", lambda _: "/auth/tokens/current/", None, (401, 204, 204, 204, 204)),
    Row("front", "get", from_home(), None, EVERYBODY),
    Row("front-times", "post", from_home("times/"), _json(a_look()), EVERYBODY),
    Row("front-lessons", "get", from_home("lessons/"), None, EVERYBODY),
    Row("front-bookings", "post", from_home("bookings/"), _json(a_party_at_home()), EVERYBODY_MAKES),
    Row("front-waiting", "post", from_home("waiting/"), _json(a_party_at_home()), EVERYBODY_MAKES),
    Row("front-seats", "post", _a_free_seat, _json(a_party_of_pupils()), EVERYBODY_MAKES),
    Row("visit", "get", behind_a_token(), None, EVERYBODY),
    Row("visit-move", "post", behind_a_token("move/"), _json(AT_FOUR), EVERYBODY),
    Row("visit-cancel", "post", behind_a_token("cancel/"), _json({}), EVERYBODY),
    Row("visit-take", "post", behind_a_token("take/"), None, EVERYBODY),
    Row("guests", "get", at_tarrow("guests/"), None, LOOK),
    Row("letters", "get", at_tarrow("letters/"), None, LOOK),
    Row("mail-reports", "post", lambda _: "/mail-reports/", None, (401, 401, 401, 401, 401)),
    Row("stations", "get", lambda _: "/stations/", None, SIGNED_IN),
    Row("station", "get", at_tarrow(), None, LOOK),
    Row("today", "get", at_tarrow("today/"), None, LOOK),
    Row("beach", "get", at_tarrow("beach/"), None, LOOK),
    Row("beach", "post", at_tarrow("beach/"), _json(BEACH), BEACH_MAKES),
    Row("no-lightning", "post", at_tarrow("beach/no-lightning/"), _thunder, BEACH_DOES),
    Row("afloat", "get", at_tarrow("afloat/"), None, LOOK),
    Row("head-counts", "post", at_tarrow("head-counts/"), _json({"counted": 0}), ALL_MAKE),
    Row("recall", "post", at_tarrow("recall/"), _json({}), ALL_MAKE),
    Row("recall", "delete", at_tarrow("recall/"), None, (401, 403, 204, 204, 404)),
    Row("sightings", "post", of_an_outing("out", "sightings/"), _json({}), ALL_MAKE),
    Row("extend", "post", of_an_outing("out", "extend/"), _json({"minutes": 15}), BEACH_DOES),
    Row("swap-kit", "post", of_an_outing("out", "swap-kit/"), None, ALL_MAKE),
    Row("acknowledge", "post", of_an_outing("out", "acknowledge/"), None, ALL_DO),
    Row("weather", "get", at_tarrow("weather/"), None, LOOK),
    Row("weather-hand", "post", at_tarrow("weather/hand/"), _json(a_wind()), BEACH_MAKES),
    Row("weather-files", "post", at_tarrow("weather/files/"), _json(TAF), BEACH_MAKES),
    Row("weather-sources", "get", at_tarrow("weather/sources/"), None, LOOK),
    Row("weather-sources", "post", at_tarrow("weather/sources/"), _json(A_SOURCE), (401, 403, 403, 201, 404)),
    Row("weather-source", "delete", _a_source, None, (401, 403, 403, 204, 404)),
    Row("riders", "get", at_tarrow("riders/"), None, LOOK),
    Row("bookings", "get", at_tarrow("bookings/"), None, LOOK),
    Row("bookings", "post", at_tarrow("bookings/"), _json(a_party()), OFFICE_MAKES),
    Row("outings", "get", at_tarrow("outings/"), None, LOOK),
    Row("lessons", "get", at_tarrow("lessons/"), None, LOOK),
    Row("open-lessons", "get", at_tarrow("lessons/open/"), None, LOOK),
    Row("courses", "post", at_tarrow("courses/"), _json(A_COURSE), ALL_MAKE),
    Row("on-duty", "get", at_tarrow("instructors/"), None, LOOK),
    Row("lesson", "get", of_a_lesson(), None, LOOK),
    Row("enrol", "post", of_a_lesson("enrol/"), _json(AN_ENROLMENT), ALL_MAKE),
    Row("change-lesson", "post", of_a_lesson("change/"), _json({"moves": 0, "why": "Wind"}), ALL_DO),
    Row("progress", "get", lambda cast: f"/riders/{cast.wren.pk}/progress/", None, LOOK),
    Row(
        "progress",
        "post",
        lambda cast: f"/riders/{cast.wren.pk}/progress/",
        _json({"shown": ["advanced.chop"], "seen": ["advanced.chop"]}),
        BEACH_DOES,
    ),
    Row("items", "get", at_tarrow("items/"), None, LOOK),
    Row("jobs", "get", at_tarrow("jobs/"), None, LOOK),
    Row("promises", "post", at_tarrow("promises/"), _a_party_asks, ALL_DO),
    Row("prices", "get", lambda cast: f"{_priced(cast)}prices/", None, LOOK),
    Row("quotes", "post", lambda cast: f"{_priced(cast)}quotes/", _json(A_WISH), ALL_DO),
    Row("account", "get", lambda cast: f"{_a_party(cast)}account/", None, LOOK),
    Row("charges", "post", lambda cast: f"{_a_party(cast)}charges/", None, OFFICE_MAKES),
    Row("payments", "post", lambda cast: f"{_a_party(cast)}payments/", _json(FIVE_EUROS), OFFICE_MAKES),
    Row("refunds", "post", lambda cast: f"{_paid_ahead(cast)}refunds/", _json(FIVE_EUROS), MANAGER_MAKES),
    Row("booking-account", "get", _account_of_a_booking, None, LOOK),
    Row("prices", "post", lambda cast: f"{_priced(cast)}prices/", _json(A_PRICE), MANAGER_MAKES),
    Row("prices-set", "get", lambda cast: f"{_priced(cast)}prices/set/", None, LOOK),
    Row("price-end", "post", lambda cast: f"{_priced(cast)}prices/end/", _json(AN_END), MANAGER_MAKES),
    Row("good", "put", lambda cast: f"{_priced(cast)}goods/fin/", _json(A_GOOD), MANAGER_DOES),
    Row("seasons", "get", lambda cast: f"{_priced(cast)}seasons/", None, LOOK),
    Row("seasons", "post", lambda cast: f"{_priced(cast)}seasons/", _json(A_SEASON), MANAGER_MAKES),
    Row("season", "delete", _a_season, None, MANAGER_DOES),
    Row("tax-rates", "post", lambda cast: f"{_priced(cast)}tax-rates/", _json(A_RATE), MANAGER_MAKES),
    Row("money-terms", "get", lambda cast: f"{_priced(cast)}money-terms/", None, LOOK),
    Row("money-terms", "put", lambda cast: f"{_priced(cast)}money-terms/", _json(TERMS), MANAGER_DOES),
    Row("charges-goods", "post", lambda cast: f"{_a_party(cast)}charges/goods/", _json(GOODS), OFFICE_MAKES),
    Row("charges-named", "post", lambda cast: f"{_a_party(cast)}charges/named/", _json(DAMAGE), OFFICE_MAKES),
    Row("charge-take-back", "post", _a_charge, _json({"why": "Was worn"}), MANAGER_MAKES),
    Row("rider-passes", "get", lambda cast: f"/riders/{cast.wren.pk}/passes/", None, LOOK),
    Row("passes", "post", lambda cast: f"{_a_party(cast)}passes/", _a_pass, OFFICE_MAKES),
    Row("cancel-rules", "get", at_tarrow("cancel-rules/"), None, LOOK),
    Row("cancel-rules", "post", at_tarrow("cancel-rules/"), _json(A_RULE), MANAGER_MAKES),
    Row("stored", "get", at_tarrow("stored/"), None, LOOK),
    Row("store-kit", "post", lambda cast: f"{_a_party(cast)}stored/", _json(A_BOARD), OFFICE_MAKES),
    Row("fetch-kit", "post", _a_stored_board, None, ALL_DO),
    Row("credits", "get", lambda cast: f"{_priced(cast)}credits/", None, LOOK),
    Row("credit", "get", _a_voucher, None, LOOK),
    Row("party-credits", "post", lambda cast: f"{_paid_ahead(cast)}credits/", _json(A_CREDIT), OFFICE_MAKES),
    Row("party-vouchers", "post", lambda cast: f"{_a_party(cast)}vouchers/", _json(FIVE_EUROS), OFFICE_MAKES),
    Row("redemptions", "post", lambda cast: f"{_owing(cast)}redemptions/", _a_code, OFFICE_MAKES),
    Row("no-wind", "post", _no_wind, _json({"why": "No wind"}), OFFICE_MAKES),
    Row("excess", "post", lambda cast: f"{_a_party(cast)}excess/", _json(FIVE_EUROS), OFFICE_MAKES),
    Row("excess-back", "post", lambda cast: f"{_held(cast)}excess/back/", _json(FIVE_EUROS), OFFICE_MAKES),
    Row(
        "excess-keep", "post", lambda cast: f"{_held(cast)}excess/keep/", _json({"amount": "5"}), OFFICE_MAKES
    ),
    Row("takings", "get", lambda cast: f"{_priced(cast)}takings/", None, LOOK),
    Row(
        "takings-close", "post", lambda cast: f"{_priced(cast)}takings/close/", _json(A_CLOSE), MANAGER_MAKES
    ),
    Row(
        "takings-change",
        "post",
        lambda cast: f"{_priced(cast)}takings/change/",
        _json({"amount": "50"}),
        MANAGER_MAKES,
    ),
    Row("ledger", "get", lambda cast: f"{_priced(cast)}ledger/", None, LOOK),
    Row("plans", "get", at_tarrow("plans/"), None, LOOK),
    Row("plans", "post", at_tarrow("plans/"), _a_day, BEACH_MAKES),
    Row("plan", "get", of_a_plan(), None, LOOK),
    Row("plan-papers", "get", of_a_plan("papers/"), None, LOOK),
    Row("plan-accept", "post", of_a_plan("accept/"), None, BEACH_DOES),
    Row("plan-cancel", "post", lambda cast: f"/plans/{asked(cast).pk}/cancel/", None, BEACH_DOES),
    Row("plan-adjust", "post", of_a_plan("adjust/"), _another_sail, BEACH_MAKES),
    Row(
        "rig-tick",
        "post",
        lambda cast: f"/rig-tasks/{listed(cast).pk}/tick/",
        _json({"built": True}),
        ALL_DO,
    ),
    Row("rider", "get", lambda cast: f"/riders/{cast.wren.pk}/", None, LOOK),
    Row("rider", "put", lambda cast: f"/riders/{cast.wren.pk}/", _json(a_rider()), ALL_DO),
    Row("booking", "get", lambda cast: f"/bookings/{cast.booked()[0].booking_id}/", None, LOOK),
    Row("outing", "get", of_an_outing("booked"), None, LOOK),
    Row("cancel", "get", _a_priced_outing, None, LOOK),
    Row("cancel", "post", of_an_outing("booked", "cancel/"), _json({"reason": "Ill"}), OFFICE_DOES),
    Row("offers", "get", of_an_outing("booked", "offers/"), None, LOOK),
    Row("kit", "post", of_an_outing("booked", "kit/"), _kit, ALL_MAKE),
    Row("card", "get", of_an_outing("kitted", "card/"), None, LOOK),
    Row("issue", "post", of_an_outing("kitted", "issue/"), _json({"kit_no": 1}), ALL_DO),
    Row("launch-sheet", "get", of_an_outing("issued", "launch-sheet/"), None, LOOK),
    Row(
        "launch-checks",
        "post",
        of_an_outing("issued", "launch-checks/"),
        _json({"kit_no": 1, "ticked": []}),
        BEACH_MAKES,
    ),
    Row("launch", "post", of_an_outing("cleared", "launch/"), None, BEACH_DOES),
    Row("ashore", "post", of_an_outing("out", "ashore/"), None, ALL_DO),
    Row(
        "return-checks",
        "post",
        of_an_outing("out", "return-checks/"),
        _nothing_back,
        (401, 422, 422, 422, 404),
    ),
    Row("item", "get", lambda cast: f"/items/{cast.shed['S1'].pk}/", None, LOOK),
    Row(
        "faults",
        "post",
        lambda cast: f"/items/{cast.shed['S1'].pk}/faults/",
        _json({"fault": "Tear"}),
        ALL_MAKE,
    ),
    Row(
        "withdraw",
        "post",
        lambda cast: f"/items/{cast.shed['S1'].pk}/withdraw/",
        _json({"reason": "Torn for good"}),
        MANAGER_DOES,
    ),
    Row("inspections", "get", at_tarrow("inspections/"), None, LOOK),
    Row("inspections-due", "get", at_tarrow("inspections/due/"), None, LOOK),
    Row("inspect", "post", lambda cast: f"/items/{cast.shed['S1'].pk}/inspections/", _a_look, BEACH_MAKES),
    Row("kit-recalls", "get", at_tarrow("kit-recalls/"), None, LOOK),
    Row("kit-recalls", "post", at_tarrow("kit-recalls/"), _a_recall, BEACH_MAKES),
    Row("kit-recall", "get", of_a_recall(), None, LOOK),
    Row("kit-recall-end", "post", of_a_recall("end/"), _json({"because": "New ferrules"}), MANAGER_DOES),
    Row("job-lines", "get", lambda cast: f"/jobs/{cast.faulty().pk}/lines/", None, LOOK),
    Row(
        "job-lines",
        "post",
        lambda cast: f"/jobs/{cast.faulty().pk}/lines/",
        _json({"kind": "parts", "text": "Batten", "cost": "12.50"}),
        BEACH_MAKES,
    ),
    Row(
        "mend", "post", lambda cast: f"/jobs/{cast.faulty().pk}/mend/", _json({"work": "Patched"}), BEACH_DOES
    ),
    Row("lives", "get", at_tarrow("lives/"), None, BEACH_DOES),
    Row("review", "get", at_tarrow("review/"), None, MANAGER_DOES),
    Row("costs", "put", _costs_of_a_sail, _json(COSTS), MANAGER_DOES),
    Row("check-list", "get", at_tarrow("check-lists/launch/"), None, LOOK),
    Row(
        "check-list",
        "post",
        at_tarrow("check-lists/launch/"),
        _json({"version": 0, "lines": [{"kind": "rider", "text": "Rider is well"}]}),
        MANAGER_MAKES,
    ),
    Row("distress", "get", of_an_outing("out", "distress/"), None, LOOK),
    Row("calls", "post", of_an_outing("out", "calls/"), _json({"whom": "Rescue service"}), ALL_MAKE),
    Row("medical-note", "get", lambda cast: f"/riders/{cast.wren.pk}/medical-note/", None, LOOK),
    Row(
        "medical-note",
        "put",
        lambda cast: f"/riders/{cast.wren.pk}/medical-note/",
        _json({"note": "Asthma", "agreed": True}),
        ALL_DO,
    ),
    Row("closing", "get", at_tarrow("closing/"), None, LOOK),
    Row(
        "closing",
        "post",
        at_tarrow("closing/"),
        _json({"ticked": [key for key, _ in CLOSING], "name": "Jory"}),
        BEACH_MAKES,
    ),
    Row(
        "closing-reopen",
        "post",
        _a_signed_day,
        _json({"name": "Maud", "note": "A late rider"}),
        BEACH_MAKES,
    ),
    Row("incidents", "get", at_tarrow("incidents/"), None, LOOK),
    Row("incidents", "post", at_tarrow("incidents/"), _json(AN_INCIDENT), ALL_MAKE),
    Row("incidents-without-names", "get", at_tarrow("incidents/without-names/"), None, LOOK),
    Row("incident", "get", of_an_incident(), None, LOOK),
    Row(
        "incident-corrections",
        "post",
        of_an_incident("corrections/"),
        _json({**AN_INCIDENT, "why": "Heard the witness"}),
        ALL_MAKE,
    ),
    Row("incident-follow-ups", "post", of_an_incident("follow-ups/"), _json(WORDS), ALL_MAKE),
    Row("incident-close", "post", of_an_incident("close/"), _json(WORDS), MANAGER_DOES),
    Row("incident-reopen", "post", of_an_incident("reopen/", closed=True), _json(WORDS), MANAGER_DOES),
    Row("release", "post", lambda cast: f"/jobs/{cast.mended().pk}/release/", None, BEACH_DOES),
)


def _cases() -> Iterator[Any]:
    for row in ROWS:
        for role, code in zip(ROLES, row.codes, strict=True):
            yield pytest.param(row, role, code, id=f"{row.method} {row.name} as {role}")


@pytest.mark.parametrize(("row", "role", "code"), list(_cases()))
def test_each_role_is_answered_as_the_table_says(
    row: Row, role: str, code: int, cast: Cast, api: Api
) -> None:
    place = row.place(cast)
    body = None if row.body is None else row.body(cast)
    caller = api if role == "nobody" else api.of(getattr(cast, role))

    if isinstance(body, bytes):
        answer = caller.send(place, body, "text/plain")
    elif row.method in ("get", "delete"):
        answer = getattr(caller, row.method)(place)
    else:
        answer = getattr(caller, row.method)(place, body)

    assert answer.status == code, answer.said


def test_every_address_and_method_has_a_row() -> None:
    offered = {
        (pattern.name, method)
        for pattern in urlpatterns
        for method in METHODS
        if hasattr(pattern.callback.view_class, method)  # type: ignore[attr-defined]
    }

    assert offered | {("nothing", "get")} == {(row.name, row.method) for row in ROWS}


def test_a_token_of_somebody_without_a_role_sees_no_station(cast: Cast, api: Api) -> None:
    assert cast.tarrow

    assert api.of(cast.stranger).get("/stations/").said == {"results": [], "next": None}
