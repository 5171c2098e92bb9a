"""People at home for the tests: an open page of Tarrow Lagoon, a party that asks, and what it typed."""

from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

from django.urls import reverse
from django.utils import timezone

from rentals.bookings.models import Outing, Party
from rentals.bookings.services import Contact
from rentals.home import queries, services
from rentals.home.models import Front, Guest
from rentals.lessons.models import Lesson
from rentals.lib.access import System, service
from rentals.mail.models import Letter
from rentals.people.services import RiderFacts
from rentals.takings import services as takings
from tests.rentals.walk import Walk

HOME, TELL = service(System.HOME), service(System.TELL)

ADA = RiderFacts(
    name="Ada Brill",
    born_on=date(1991, 4, 2),
    mass_kg=Decimal("72.0"),
    stature_cm=176,
    level="advanced",
    swims=True,
    phone="0700 555 001",
    waiver=True,
)
"""An adult for whom the usual shed has one rig in the usual wind."""

PUPIL = replace(ADA, level="beginner")
"""Somebody for the usual lesson."""


class House:
    """A station with an open page, and what people at home do there."""

    def __init__(self, cast: Walk) -> None:
        self.cast = cast

    def open(self, **facts: Any) -> Front:
        """Open the page of Tarrow Lagoon, with a shed and a wind in which the usual party is served."""
        assert self.cast.shed
        self.cast.blow()
        usual = services.FrontFacts(is_open=True, phone="0700 888 000")
        services.open_front(
            actor=self.cast.boss,
            station_id=self.cast.tarrow.pk,
            facts=replace(usual, **facts),
            now=self.cast.now,
        )
        return self.front

    @property
    def front(self) -> Front:
        """The page as it is set now."""
        return Front.objects.select_related("station").get(station=self.cast.tarrow)

    def asked(
        self, *riders: RiderFacts, hour: int = 14, once: UUID | None = None, **other: Any
    ) -> services.Asked:
        """A party that asks for two hours of this afternoon."""
        usual = services.Asked(
            contact=Contact(name="Ada Brill", phone="0700 555 001", email="ada@brill.invalid"),
            starts_at=self.cast.at(hour),
            ends_at=self.cast.at(hour + 2),
            riders=riders or (ADA,),
            language="en",
            once=once or uuid4(),
        )
        return replace(usual, **other)

    def book(self, *riders: RiderFacts, now: datetime | None = None, **other: Any) -> Guest:
        """Book from home."""
        asked = self.asked(*riders, **other)
        return services.book_from_home(actor=HOME, front=self.front, asked=asked, now=now or self.cast.now)

    def take(self, lesson: Lesson, *riders: RiderFacts, now: datetime | None = None, **other: Any) -> Guest:
        """Take seats in a lesson from home."""
        asked = replace(self.asked(*riders, **other), starts_at=lesson.starts_at, ends_at=lesson.ends_at)
        return services.book_lesson(
            actor=HOME,
            front_id=self.front.pk,
            lesson_id=lesson.pk,
            asked=asked,
            now=now or self.cast.now,
        )

    def queue(self, *riders: RiderFacts, **other: Any) -> Guest:
        """Join the waiting list."""
        asked = self.asked(*riders, **other)
        return services.join_queue(actor=HOME, front_id=self.front.pk, asked=asked, now=self.cast.now)

    def fill(self, hour: int) -> None:
        """Book the desk's own riders until nobody more like Ada can be served at that hour."""
        for number in range(9):
            wish = self.asked(hour=hour).wish()
            seen = queries.see(self.cast.tarrow, wish, phone="", now=self.cast.now)
            if not seen.holds:
                return
            self.cast.booked(self.cast.rider(f"Rider {number}", level="advanced"), hour=hour)
        raise AssertionError("The shed never fills.")

    def leave_one(self, hour: int) -> None:
        """Book the desk's own riders until one more like Ada can be served at that hour, and not two."""
        for number in range(9):
            two = self.asked(ADA, ADA, hour=hour).wish()
            if not queries.see(self.cast.tarrow, two, phone="", now=self.cast.now).holds:
                return
            self.cast.booked(self.cast.rider(f"Rider {number}", level="advanced"), hour=hour)
        raise AssertionError("The shed never fills.")

    def cancel(self, outing: Outing) -> None:
        """The desk cancels an outing."""
        takings.cancel_outing(
            actor=self.cast.ida, outing_id=outing.pk, missed=False, reason="Ill", now=self.cast.now
        )

    def finish(self, outing: Outing) -> None:
        """An outing goes afloat and comes back; it is closed."""
        self.cast.watch_the_beach()
        self.cast.kit(outing)
        outing.refresh_from_db()
        self.cast.issue(outing)
        check = self.cast.look_over(outing, launch=True)
        assert check.passed, [gate["text"] for gate in check.gates if not gate["passed"]]
        outing.refresh_from_db()
        self.cast.take_back(outing)

    def joined(self, outing: Outing) -> Guest:
        """The party of an outing as one that is written to."""
        Party.objects.filter(pk=outing.booking.party_id).update(contact_email="wren@alder.invalid")
        return Guest.objects.create(
            booking=outing.booking,
            state="booked",
            from_home=False,
            language="en",
            joined_at=self.cast.now,
            starts_at=outing.starts_at,
            ends_at=outing.ends_at,
        )

    def token(self, guest: Guest) -> str:
        """A secret link's token."""
        return services.open_link(actor=HOME, guest_id=guest.pk, now=self.cast.now)

    def outings(self, guest: Guest) -> list[Outing]:
        """A party's outings, called off or not."""
        return list(Outing.objects.filter(booking=guest.booking_id).order_by("id"))

    def letters(self, guest: Guest) -> list[Letter]:
        """A party's letters in the order in which they were written."""
        return list(Letter.objects.concerning(f"booking:{guest.booking_id}").order_by("id"))

    def kinds(self, guest: Guest) -> list[str]:
        """What a party was written, such as `confirmed`."""
        return [letter.event.split(":")[2] for letter in self.letters(guest)]

    def again(self, guest: Guest) -> Guest:
        """The party as the database has it now."""
        return Guest.objects.with_booking().get(pk=guest.pk)

    def typed(self, hour: int = 14, **other: str) -> dict[str, str]:
        """What stands in the form of a party of one."""
        usual = {
            "contact_name": "Ada Brill",
            "contact_email": "ada@brill.invalid",
            "contact_phone": "0700 555 001",
            "day": f"{self.cast.now:%Y-%m-%d}",
            "starts_at": f"{hour}:00",
            "hours": "2",
            "note": "",
            "privacy": "on",
            "once": str(uuid4()),
            "rows": "1",
            "riders-0-name": "Ada Brill",
            "riders-0-born_on": "1991-04-02",
            "riders-0-mass_kg": "72",
            "riders-0-stature_cm": "176",
            "riders-0-level": "advanced",
            "riders-0-swims": "on",
            "riders-0-waiver": "on",
        }
        return {**usual, **other}


def place(house: House, name: str, *more: object) -> str:
    """An address of the station's."""
    return reverse(name, args=[house.cast.tarrow.slug, *more])


def utc(moment: datetime) -> datetime:
    """The moment in UTC, as rows give it back."""
    return moment.astimezone(timezone.get_default_timezone())
