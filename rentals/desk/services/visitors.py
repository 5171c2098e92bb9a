"""People at home in the demo: an open page, a party booked from home, one that waits, one that learns."""

from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from rentals.bookings.services import Contact
from rentals.desk import demo
from rentals.home import services as home
from rentals.home.models import Front
from rentals.lessons.models import Lesson
from rentals.lib.access import Actor, System, service
from rentals.lib.problems import Refused
from rentals.people.services import RiderFacts
from rentals.stations.models import Station


def invite(station: Station, manager: Actor, now: datetime) -> None:
    """Open the page of a station and let the scenario's parties use it, as far as the day allows."""
    told = demo.told("home").get(station.slug)
    if told is None:
        return
    facts = home.FrontFacts(is_open=True, **told["page"])
    front = home.open_front(actor=manager, station_id=station.pk, facts=facts, now=now)
    front.station = station
    guest = service(System.HOME)
    for party in told["parties"]:
        asked = _asked(station, party, now)
        with suppress(Refused):
            if party["waits"]:
                home.join_queue(actor=guest, front_id=front.pk, asked=asked, now=now)
            else:
                home.book_from_home(actor=guest, front=front, asked=asked, now=now)

    for party in told.get("pupils", ()):
        with suppress(Refused):
            _learn(front, party, now)


def _learn(front: Front, party: dict[str, Any], now: datetime) -> None:
    """Take seats in the next lesson of a course, where one has them."""
    lessons = Lesson.objects.planned().filter(course__station=front.station, course__name=party["course"])
    lesson = lessons.filter(starts_at__gt=now).order_by("starts_at").first()
    if lesson is not None:
        asked = _party(party, lesson.starts_at, lesson.ends_at, now)
        guest = service(System.HOME)
        home.book_lesson(actor=guest, front_id=front.pk, lesson_id=lesson.pk, asked=asked, now=now)


def _asked(station: Station, party: dict[str, Any], now: datetime) -> home.Asked:
    midnight = station.local(now).replace(hour=0, minute=0, second=0, microsecond=0)
    start = midnight + timedelta(days=party["days_ahead"], hours=party["hour"])
    return _party(party, start, start + timedelta(hours=2), now)


def _party(party: dict[str, Any], starts_at: datetime, ends_at: datetime, now: datetime) -> home.Asked:
    return home.Asked(
        contact=Contact(name=party["name"], phone=party["phone"], email=party["email"]),
        starts_at=starts_at,
        ends_at=ends_at,
        riders=tuple(_riders(party["riders"], now)),
        language=party["language"],
        once=uuid4(),
        note=party["note"],
    )


def _riders(told: Sequence[dict[str, Any]], now: datetime) -> list[RiderFacts]:
    return [
        RiderFacts(
            name=rider["name"],
            born_on=now.date() - timedelta(days=round(365.25 * rider["age"])),
            mass_kg=Decimal(rider["mass_kg"]),
            stature_cm=rider["stature_cm"],
            level=rider["level"],
            swims=True,
            waiver=rider["waiver"],
            guardian_name=rider.get("guardian", ""),
            guardian_phone=rider.get("guardian_phone", ""),
            consent="guardian" in rider,
        )
        for rider in told
    ]
