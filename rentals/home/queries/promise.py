"""What the shed can promise people at home, what it costs, and lessons with free seats."""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Final

from django.core.cache import cache
from django.utils import translation
from django.utils.functional import Promise as Words
from django.utils.translation import gettext as _

from rentals.dayplan import queries as dayplan
from rentals.dayplan.queries import UnableToSay, Wish
from rentals.home.mapping import LEVELS
from rentals.home.models import Front, Guest
from rentals.home.queries.visits import LESSON, RENTAL, outings_of, rider_of
from rentals.lessons import queries as taught
from rentals.lessons.queries import OpenLesson
from rentals.lib.money import Money
from rentals.people.models import Rider
from rentals.stations.models import Station
from rentals.takings import queries as takings
from rentals.takings.queries import Line, Wanted

STEP: Final = timedelta(hours=1)
"""How far apart the starts lie that are shown. Policy."""

LASTS_S: Final = 300
"""How long what was looked at is shown again while nothing changes on the day. Policy."""


@dataclass(frozen=True, slots=True)
class Seen:
    """Whether a party can be served, on the day as it was when looked at."""

    holds: bool
    text: str
    mark: str = ""


def see(
    station: Station, wish: Wish, *, phone: str, now: datetime, instead_of: frozenset[int] = frozenset()
) -> Seen:
    """Say whether the shed can serve a party beside those booked: nine queries.

    Args:
        station: where.
        wish: the party and its time.
        phone: whom to call when it cannot.
        now: the moment.
        instead_of: outings that the party would give up for it.
    """
    try:
        found = dayplan.promise(station, wish, now=now, instead_of=instead_of)
    except UnableToSay:
        return Seen(holds=False, text=_("That time is over. Choose another."))
    lacking = any(outlook.lacking for outlook in found.outlooks)
    text = _said(found.holds, found.forecast, lacking, phone)
    return Seen(holds=found.holds, text=text, mark=found.stamp)


def see_move(front: Front, guest: Guest, starts_at: datetime, ends_at: datetime, *, now: datetime) -> Seen:
    """Say whether a booked party can be served at another time instead: ten queries."""
    outings = outings_of(guest)
    riders = tuple(outing.rider for outing in outings)
    wish = Wish(kind=guest.booking.kind, starts_at=starts_at, ends_at=ends_at, riders=riders)
    mine = frozenset(outing.pk for outing in outings)
    return see(front.station, wish, phone=front.phone, now=now, instead_of=mine)


def see_changed(
    front: Front, guest: Guest, rider_id: int, *, mass_kg: Decimal, level: str, now: datetime
) -> Seen:
    """Say whether a party can be served with another mass or level of a rider: ten queries.

    Raises:
        NotVisible: no such rider in that party.
    """
    rider = rider_of(guest, rider_id)
    same = (rider.mass_kg, rider.level) == (mass_kg, level)
    outings = outings_of(guest)
    if same or guest.booking.kind != RENTAL or not outings:
        return Seen(holds=True, text="")
    changed = Rider(mass_kg=mass_kg, stature_cm=rider.stature_cm, level=level)
    riders = tuple(changed if each.rider_id == rider_id else each.rider for each in outings)
    wish = Wish(kind=RENTAL, starts_at=outings[0].starts_at, ends_at=outings[0].ends_at, riders=riders)
    mine = frozenset(outing.pk for outing in outings)
    return see(front.station, wish, phone=front.phone, now=now, instead_of=mine)


def mark_of(station: Station, at: datetime) -> str:
    """Return a mark of who is booked on a day: one query."""
    return dayplan.day_stamp(station, station.local(at).date())


@dataclass(frozen=True, slots=True)
class Slot:
    """A time of a day, whether a party can be served then, and what it would cost them."""

    starts_at: datetime
    ends_at: datetime
    seen: Seen
    price: Money | None


def slots(
    front: Front, day: date, *, hours: int, half: str, riders: tuple[Rider, ...], now: datetime
) -> list[Slot]:
    """Return each full hour's start of half a day at which a party could begin, and what can be promised."""
    spans = list(_spans(front, day, hours, half, now))
    prices = takings.quote_each(
        front.station,
        [Wanted(kind=RENTAL, count=len(riders), starts_at=start, ends_at=end) for start, end in spans],
        as_of=now,
    )
    return [
        Slot(
            start,
            end,
            _just_seen(front, Wish(kind=RENTAL, starts_at=start, ends_at=end, riders=riders), now),
            price.total if price else None,
        )
        for (start, end), price in zip(spans, prices, strict=True)
    ]


def _spans(
    front: Front, day: date, hours: int, half: str, now: datetime
) -> Iterator[tuple[datetime, datetime]]:
    station = front.station
    opens = datetime.combine(day, station.opens, station.zone)
    closes = datetime.combine(day, station.closes, station.zone)
    soonest = now + timedelta(minutes=front.lead_min)
    noon = opens.replace(hour=12, minute=0)
    start = opens if opens.minute == 0 else opens.replace(minute=0) + STEP
    while start + timedelta(hours=hours) <= closes:
        if start >= soonest and (start < noon) == (half == "morning"):
            yield start, start + timedelta(hours=hours)
        start += STEP


def _just_seen(front: Front, wish: Wish, now: datetime) -> Seen:
    """What was seen a moment ago of the same day and party, for those who only look; else a fresh look."""
    party = [(str(each.mass_kg), each.level) for each in wish.riders]
    mark, language = mark_of(front.station, wish.starts_at), translation.get_language()
    told = repr((front.station_id, wish.starts_at, wish.ends_at, party, mark, front.phone, language))
    key = f"home-{hashlib.sha256(told.encode()).hexdigest()}"
    seen: Seen | None = cache.get(key)
    if seen is None:
        seen = see(front.station, wish, phone=front.phone, now=now)
        cache.set(key, seen, LASTS_S)
    return seen


def _said(holds: bool, forecast: bool, lacking: bool, phone: str) -> str:
    if holds and forecast:
        return _("A rig for each of you, whether the wind comes lighter or stronger than forecast.")
    if holds:
        return _("A rig for each of you in light, middle and strong wind. The forecast comes later.")
    if lacking:
        said = _("Not each of you would have a rig that is right for them.")
    else:
        said = _("The wind that is forecast is not right for each of you.")
    return said + " " + _("Choose another time, or ask us on %(phone)s.") % {"phone": phone}


@dataclass(frozen=True, slots=True)
class Price:
    """What a party's times cost together, and what is included."""

    riders: int
    total: Money
    included: str


def price_of(
    front: Front, kind: str, spans: Sequence[tuple[datetime, datetime]], *, riders: int, now: datetime
) -> Price | None:
    """Return what times cost a party by today's list, None where the list has no price: three queries."""
    wanted = [Wanted(kind=kind, count=riders, starts_at=start, ends_at=end) for start, end in spans]
    return _price(takings.quote_each(front.station, wanted, as_of=now))


def _price(lines: Sequence[Line | None]) -> Price | None:
    known = [line for line in lines if line is not None]
    if not known or len(known) < len(lines):
        return None
    total = sum((line.total for line in known[1:]), known[0].total)
    return Price(known[0].count, total, known[0].included)


@dataclass(frozen=True, slots=True)
class LessonOffer:
    """A lesson with free seats, and what a seat costs."""

    lesson: OpenLesson
    price: Price | None

    @property
    def can_do(self) -> Words:
        """Its level, as riders say it."""
        return LEVELS[self.lesson.level]


def lessons_on(front: Front, day: date, *, now: datetime) -> list[LessonOffer]:
    """Return the lessons of a day in which people at home can take a seat, with prices: five queries."""
    soonest = now + timedelta(minutes=front.lead_min)
    found = [each for each in taught.open_lessons(front.station, day, now=now) if each.starts_at >= soonest]
    wanted = [
        Wanted(kind=LESSON, starts_at=start, ends_at=end) for each in found for start, end in each.spans
    ]
    lines = iter(takings.quote_each(front.station, wanted, as_of=now) if wanted else ())
    return [LessonOffer(each, _price([next(lines) for _span in each.spans])) for each in found]


def lesson_offer(front: Front, lesson_id: int, *, now: datetime) -> LessonOffer:
    """Return one lesson as people at home are offered it, full or not: two queries.

    Raises:
        NotVisible: none such to come.
    """
    return LessonOffer(taught.lesson_on_offer(front.station, lesson_id, now=now), None)
