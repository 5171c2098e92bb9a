"""Letters to riders in their language: each event's once, with the time as a calendar entry."""

import hashlib
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from enum import StrEnum

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from rentals.bookings.models import Outing
from rentals.home import queries
from rentals.home.models import Front, Guest, Link
from rentals.lessons.mapping import FOR_THE_WIND
from rentals.lessons.models import Notice
from rentals.lessons.states import LessonState
from rentals.lib import ical
from rentals.lib.secret import digest, new_token
from rentals.lib.writes import inside_write
from rentals.mail import services as mail
from rentals.weather import queries as weather
from rigging import wind
from rigging.units import BadValue


class Kind(StrEnum):
    """Letters to riders; the value names the template and the event."""

    CONFIRMED = "confirmed"
    CHANGED = "changed"
    CANCELLED = "cancelled"
    QUEUED = "queued"
    OFFERED = "offered"
    LAPSED = "lapsed"
    WIND = "wind"
    REMINDER = "reminder"
    LESSON_MOVED = "lesson_moved"
    LESSON_OFF = "lesson_off"
    THANKS = "thanks"


WITH_CALENDAR = (
    Kind.CONFIRMED,
    Kind.CHANGED,
    Kind.CANCELLED,
    Kind.REMINDER,
    Kind.LESSON_MOVED,
    Kind.LESSON_OFF,
)


@inside_write
def confirm(*, guest: Guest, front: Front, now: datetime) -> None:
    """Say that a party is booked."""
    _note_told(guest, now)
    _write(
        guest, front, Kind.CONFIRMED, f"{guest.version}", now, more={"to_pay": queries.to_pay(guest, now=now)}
    )


@inside_write
def changed(*, guest: Guest, front: Front, now: datetime) -> None:
    """Say the new time of a booked party."""
    _rise(guest)
    _note_told(guest, now)
    _write(guest, front, Kind.CHANGED, f"{guest.version}", now)


@inside_write
def cancelled(*, guest: Guest, front: Front, now: datetime) -> None:
    """Say that a party is not expected any more."""
    _rise(guest)
    _note_told(guest, now)
    _write(guest, front, Kind.CANCELLED, "", now)


@inside_write
def queued(*, guest: Guest, front: Front, now: datetime) -> None:
    """Say that a party is on the waiting list."""
    _write(guest, front, Kind.QUEUED, "", now)


@inside_write
def offered(*, guest: Guest, front: Front, now: datetime) -> None:
    """Say that a place is held for a party for a set time."""
    _note_told(guest, now)
    _write(guest, front, Kind.OFFERED, f"{guest.offer_until:%Y%m%d%H%M}", now)


@inside_write
def lapsed(*, guest: Guest, front: Front, now: datetime) -> None:
    """Say that a party is off the waiting list."""
    _write(guest, front, Kind.LAPSED, "", now)


@inside_write
def wind_moved(*, guest: Guest, front: Front, now: datetime) -> None:
    """Say that the forecast is another than when the party was last written to; once a day at most."""
    before = guest.told_wind_ms
    _note_told(guest, now)
    _write(
        guest,
        front,
        Kind.WIND,
        f"{now:%Y%m%d}",
        now,
        more={"before_ms": before, "after_ms": guest.told_wind_ms},
    )


@inside_write
def lesson_changed(*, notice: Notice, guest: Guest, front: Front, now: datetime) -> None:
    """Say to a party that a lesson moved or is called off, and why."""
    _rise(guest)
    _note_told(guest, now)
    kind, context = _of_lesson(notice)
    _write(guest, front, kind, "", now, event=event_of(notice), more=context)


@inside_write
def lesson_changed_without_page(*, notice: Notice, booking_id: int, now: datetime) -> None:
    """Say the same to a party of a station that has no page for people at home: there is no link to give."""
    station, party = notice.lesson.course.station, notice.party
    kind, context = _of_lesson(notice)
    with timezone.override(station.zone):
        text = render_to_string(f"home/letters/{kind}.txt", {"at": station, "party": party, **context})
    subject, body = _split(text)
    mail.write_letter(
        event=event_of(notice),
        about=f"booking:{booking_id}",
        to=party.contact_email,
        subject=subject,
        body=body,
        may_bounce=True,
        now=now,
    )


def event_of(notice: Notice) -> str:
    """Return the key of a notice's letter."""
    return f"lesson:{notice.lesson_id}:{notice.change_no}:{notice.party_id}"


def _of_lesson(notice: Notice) -> tuple[Kind, dict[str, object]]:
    lesson = notice.lesson
    kind = Kind.LESSON_MOVED if lesson.state == LessonState.PLANNED else Kind.LESSON_OFF
    return kind, {"lesson": lesson, "for_the_wind": lesson.why.startswith(FOR_THE_WIND)}


@inside_write
def remind(*, guest: Guest, front: Front, now: datetime) -> None:
    """Say that tomorrow is the day."""
    _write(guest, front, Kind.REMINDER, "", now)


@inside_write
def thank(*, guest: Guest, front: Front, now: datetime) -> None:
    """Thank a party that was here."""
    _write(guest, front, Kind.THANKS, "", now)


def times_of(outings: Sequence[Outing]) -> str:
    """Return a digest of the times of a party, to know what it was last told."""
    told = [(outing.starts_at.isoformat(), outing.ends_at.isoformat()) for outing in outings]
    return hashlib.sha256(repr(sorted(told)).encode()).hexdigest()


def beach_wind_ms(guest: Guest, outings: Sequence[Outing], now: datetime) -> float | None:
    """Return the mean beach wind forecast for a party's first outing, None where none is: one query."""
    if not outings:
        return None
    station = guest.booking.party.station
    start, end = outings[0].starts_at, outings[0].ends_at
    try:
        slot = wind.slot_wind(weather.hours_between(station, start, end), start, end)
    except BadValue:
        return None
    return slot.beach_mean_ms


@inside_write
def _note_told(guest: Guest, now: datetime) -> None:
    outings = queries.outings_of(guest)
    guest.told, guest.told_wind_ms = times_of(outings), beach_wind_ms(guest, outings, now)
    Guest.objects.filter(pk=guest.pk).update(told=guest.told, told_wind_ms=guest.told_wind_ms)


@inside_write
def _rise(guest: Guest) -> None:
    guest.version += 1
    Guest.objects.filter(pk=guest.pk).update(version=guest.version)


@inside_write
def _write(
    guest: Guest,
    front: Front,
    kind: Kind,
    key: str,
    now: datetime,
    *,
    event: str = "",
    more: Mapping[str, object] | None = None,
) -> None:
    """Put a letter into the outbox, with a secret link of its own: tokens are kept nowhere but in it."""
    party = guest.booking.party
    if not party.contact_email:
        return
    token = new_token()
    Link.objects.create(guest=guest, digest=digest(token), made_at=now)
    link = settings.PUBLIC_URL + reverse("visit", args=[front.station.slug, token])
    seen = queries.visit(front, guest, now=now)
    with translation.override(guest.language), timezone.override(front.station.zone):
        context = {"front": front, "at": front.station, "visit": seen, "party": party, "link": link}
        text = render_to_string(f"home/letters/{kind}.txt", {**context, **(more or {})})
        subject, body = _split(text)
        calendar = calendar_of(front, guest, seen, kind, link, now) if kind in WITH_CALENDAR else ""
    mail.write_letter(
        event=event or f"booking:{guest.booking_id}:{kind}:{key}".rstrip(":"),
        about=f"booking:{guest.booking_id}",
        to=party.contact_email,
        subject=subject,
        body=body,
        calendar=calendar,
        may_bounce=True,
        now=now,
    )


def _split(text: str) -> tuple[str, str]:
    """Return subject and body of a letter's template; what a condition left empty is no gap."""
    subject, _blank, body = text.strip().partition("\n\n")
    return " ".join(subject.split()), re.sub(r"\n{3,}", "\n\n", body)


def calendar_of(front: Front, guest: Guest, seen: queries.Visit, kind: Kind, link: str, now: datetime) -> str:
    """Return a party's times for its calendar: those that stand, and those that were called off.

    RFC 5546, 3.2.5: what cancels names one event only; several are published with their status.
    """
    station = front.station
    gone = kind == Kind.CANCELLED
    happenings = [
        ical.Happening(
            uid=f"{time.uid}@{station.slug}.marram",
            starts_at=time.starts_at,
            ends_at=time.ends_at,
            summary=time.name or _("Windsurfing at %(station)s") % {"station": station.name},
            description=link,
            place=station.name,
            latitude_deg=station.latitude_deg,
            longitude_deg=station.longitude_deg,
            changed_at=now,
            sequence=guest.version,
            cancelled=gone or not time.stands,
        )
        for time in seen.all_times
    ]
    method = ical.Method.CANCEL if gone and len(happenings) == 1 else ical.Method.PUBLISH
    made = ical.calendar(happenings, method=method, organizer_email=settings.DEFAULT_FROM_EMAIL)
    return made.decode()
