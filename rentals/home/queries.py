"""What people at home see: what the shed can promise, their own booking, and what the desk sees of them."""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Final

from django.core import signing
from django.core.cache import cache
from django.utils import translation
from django.utils.functional import Promise as Words
from django.utils.translation import gettext as _

from rentals.bookings.models import Booking, Outing
from rentals.bookings.states import DROPPED
from rentals.dayplan import queries as dayplan
from rentals.dayplan.queries import UnableToSay, Wish
from rentals.home.mapping import LEVELS
from rentals.home.models import Front, Guest, Link, Signature
from rentals.home.states import IN_THE_DAY, GuestState
from rentals.lessons import queries as taught
from rentals.lessons.models import Seat
from rentals.lessons.queries import OpenLesson
from rentals.lib.access import Actor
from rentals.lib.money import Money
from rentals.lib.problems import NotVisible
from rentals.lib.secret import digest
from rentals.lib.when import day_bounds
from rentals.mail.models import Letter
from rentals.people.models import Rider, User
from rentals.stations.models import Station
from rentals.takings import queries as takings
from rentals.takings.queries import Line, UnableToQuote, Wanted

STEP: Final = timedelta(hours=1)
"""How far apart the starts lie that are shown. Policy."""

LASTS_S: Final = 300
"""How long what was looked at is shown again while nothing changes on the day. Policy."""

TEXTS: Final = "2026-1"
"""Version of our waiver and privacy texts; raise it whenever their words change."""

HAND_OVER: Final = "rentals.home.hand-over"
HANDED_FOR: Final = timedelta(minutes=30)
"""How long a rider may read before the page is over. Policy."""

SHOWN_GUESTS: Final = 100
RENTAL: Final = Booking.Kind.RENTAL.value
LESSON: Final = Booking.Kind.LESSON.value


def open_front(slug: str) -> Front:
    """Return the open page of a station: one query.

    Raises:
        NotVisible: there is none, or it is closed.
    """
    front = Front.objects.select_related("station").filter(station__slug=slug, is_open=True).first()
    if front is None:
        raise NotVisible(_("There is no page for bookings here."))
    return front


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


def before_the_day(front: Front, guest: Guest, *, now: datetime) -> bool:
    """Say whether the day of a party has not begun yet at the station."""
    local = front.station.local
    return local(now).date() < local(guest.starts_at).date()


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


def outings_of(guest: Guest) -> list[Outing]:
    """Return a party's outings that are not called off, by time: one query."""
    found = Outing.objects.filter(booking=guest.booking_id).exclude(state__in=DROPPED)
    return list(found.select_related("station", "rider").order_by("starts_at", "id"))


def front_behind(slug: str) -> Front:
    """Return the page of a station that a link leads to, which need not be open any more: one query.

    Raises:
        NotVisible: the station never had one.
    """
    front = Front.objects.select_related("station").filter(station__slug=slug).first()
    if front is None:
        raise NotVisible(_("There is no page for bookings here."))
    return front


def guest_by_token(front: Front, token: str) -> Guest:
    """Return the party that a secret link opens: one query.

    Raises:
        NotVisible: no such link, or it was withdrawn. Both look the same.
    """
    link = (
        Link.objects.filter(
            digest=digest(token), revoked_at=None, guest__booking__party__station=front.station
        )
        .select_related("guest__booking__party__station")
        .first()
    )
    if link is None:
        raise NotVisible(_("This link opens nothing. Check that you copied all of it, or call us."))
    return link.guest


def rider_of(guest: Guest, rider_id: int) -> Rider:
    """Return a rider of a party: one query.

    Raises:
        NotVisible: there is none in it.
    """
    rider = guest.riders.filter(pk=rider_id).first()
    if rider is None:
        raise NotVisible(_("There is no such rider in this booking."))
    return rider


@dataclass(frozen=True, slots=True)
class RiderAtHome:
    """A rider as the party's own page shows them."""

    rider: Rider
    minor: bool
    lacks: tuple[str, ...]

    @property
    def can_do(self) -> Words:
        """Their level, in their words."""
        return LEVELS[self.rider.level]


@dataclass(frozen=True, slots=True)
class Time:
    """A time of a party: a rental's whole time, or one lesson. `uid` names it in calendars for good."""

    uid: str
    starts_at: datetime
    ends_at: datetime
    name: str = ""
    stands: bool = True
    whole_course: bool = False


@dataclass(frozen=True, slots=True)
class Visit:
    """A party's own page.

    `all_times` holds what was called off too, `times` only where nothing stands. `may_tell` is whether what
    was told of riders can be changed here.
    """

    guest: Guest
    starts_at: datetime
    ends_at: datetime
    riders: tuple[RiderAtHome, ...]
    all_times: tuple[Time, ...]
    may_change: bool
    may_tell: bool
    change_until: datetime

    @property
    def times(self) -> tuple[Time, ...]:
        """When the party is expected, or was."""
        return tuple(time for time in self.all_times if time.stands) or self.all_times

    @property
    def stands(self) -> bool:
        """Whether the party is expected at all."""
        return any(time.stands for time in self.all_times)

    @property
    def may_move(self) -> bool:
        """Whether another time can be chosen by link: a course that is taken as a whole has none."""
        return self.may_change and not any(time.whole_course for time in self.times)


def visit(front: Front, guest: Guest, *, now: datetime) -> Visit:
    """Return what a party sees behind its link: two queries, three for lessons."""
    outings = outings_of(guest)
    riders = list(guest.riders.order_by("id")) or [outing.rider for outing in outings]
    starts_at = min((each.starts_at for each in outings), default=guest.starts_at)
    ends_at = max((each.ends_at for each in outings), default=guest.ends_at)
    until = starts_at - timedelta(minutes=front.change_until_min)
    day = front.station.local(starts_at).date()
    rental = Time(f"booking-{guest.booking_id}", starts_at, ends_at)
    return Visit(
        guest=guest,
        starts_at=starts_at,
        ends_at=ends_at,
        riders=tuple(_at_home(rider, day) for rider in riders),
        all_times=lesson_times(guest) or (rental,),
        may_change=guest.state == GuestState.BOOKED and now <= until,
        may_tell=guest.state in IN_THE_DAY and before_the_day(front, guest, now=now),
        change_until=until,
    )


def lesson_times(guest: Guest) -> tuple[Time, ...]:
    """Return the lessons in which a party has or had seats, by time: one query, none for a rental."""
    if guest.booking.kind != LESSON:
        return ()
    seats = Seat.objects.filter(outing__booking=guest.booking_id).select_related("lesson__course", "outing")
    by_lesson: dict[int, list[Seat]] = {}
    for seat in seats.order_by("id"):
        by_lesson.setdefault(seat.lesson_id, []).append(seat)
    times = [
        Time(
            # A seat keeps its row when it moves to another lesson.
            uid=f"seat-{mine[0].pk}",
            starts_at=mine[0].lesson.starts_at,
            ends_at=mine[0].lesson.ends_at,
            name=mine[0].lesson.course.name,
            stands=any(seat.live and seat.outing.state not in DROPPED for seat in mine),
            whole_course=mine[0].lesson.course.sold_whole,
        )
        for mine in by_lesson.values()
    ]
    return tuple(sorted(times, key=lambda time: time.starts_at))


def to_pay(guest: Guest, *, now: datetime) -> Money | None:
    """Return what a party will have to pay at the desk, None where there is no price: seven queries."""
    party = guest.booking.party
    try:
        account = takings.party_account(party, party.station, now=now)
    except UnableToQuote:
        return None
    return account.to_come + account.balance


def _at_home(rider: Rider, day: date) -> RiderAtHome:
    minor = rider.is_minor_on(day)
    lacks = []
    if rider.waiver_signed_at is None:
        lacks.append(_("sign the waiver at the desk"))
    if minor and rider.guardian_consent_at is None:
        lacks.append(_("a guardian's consent at the desk"))
    if not rider.swims:
        lacks.append(_("talk to us about swimming"))
    return RiderAtHome(rider, minor, tuple(lacks))


@dataclass(frozen=True, slots=True)
class GuestRow:
    """A party from home as the desk sees it, with what became of its letters."""

    guest: Guest
    letters: tuple[Letter, ...]

    @property
    def bounced(self) -> tuple[Letter, ...]:
        """Letters that will never arrive."""
        return tuple(letter for letter in self.letters if letter.bounced_at)


def guests_at(station: Station, *, now: datetime) -> tuple[GuestRow, ...]:
    """Return parties to come that are written to, with their letters: two queries."""
    start, _end = day_bounds(station.local(now).date(), station.zone)
    guests = list(
        Guest.objects.with_booking()
        .filter(booking__party__station=station, starts_at__gte=start)
        .order_by("starts_at", "joined_at", "id")[:SHOWN_GUESTS]
    )
    letters = letters_of([guest.booking_id for guest in guests])
    return tuple(GuestRow(guest, tuple(letters.get(guest.booking_id, ()))) for guest in guests)


def letters_of(booking_ids: Sequence[int]) -> dict[int, list[Letter]]:
    """Return the letters of bookings, newest first: one query."""
    found: dict[int, list[Letter]] = {}
    for letter in Letter.objects.concerning(*(f"booking:{pk}" for pk in booking_ids)):
        found.setdefault(int(letter.about.rpartition(":")[2]), []).append(letter)
    return found


def text_version(house_rules: str) -> str:
    """Return the version of a station's waiver: of our words, and the digest of its house rules if any."""
    rules = house_rules.strip()
    return f"{TEXTS}+{hashlib.sha256(rules.encode()).hexdigest()[:12]}" if rules else TEXTS


def house_rules(station: Station) -> str:
    """Return what a station shows with the waiver: one query."""
    return Front.objects.filter(station=station).values_list("house_rules", flat=True).first() or ""


@dataclass(frozen=True, slots=True)
class HandedOver:
    """A tablet in the hands of a rider: who signs on it, who gave it to them, and when."""

    rider: Rider
    by: User
    at: datetime


def token_of(rider: Rider, actor: Actor, *, now: datetime) -> str:
    """Return the secret under which a rider signs without a session of the station's."""
    told = {"rider": rider.pk, "by": actor.person_id, "at": now.isoformat()}
    return signing.dumps(told, salt=HAND_OVER)


def handed_over(slug: str, token: str, *, now: datetime) -> HandedOver:
    """Return what a secret stands for: three queries.

    Raises:
        NotVisible: it is none of ours, or was given out too long ago.
    """
    try:
        told = signing.loads(token, salt=HAND_OVER)
        at = datetime.fromisoformat(told["at"])
        rider = Rider.objects.select_related("station").get(pk=told["rider"], station__slug=slug)
        by = User.objects.get(pk=told["by"], is_active=True)
    except (signing.BadSignature, Rider.DoesNotExist, User.DoesNotExist) as none:
        raise NotVisible(_("This page is over. Please hand the tablet back to the desk.")) from none
    if not timedelta(0) <= now - at <= HANDED_FOR:
        raise NotVisible(_("This page is over. Please hand the tablet back to the desk."))
    return HandedOver(rider, by, at)


def signed_since(rider: Rider, at: datetime) -> bool:
    """Say whether a rider signed on the tablet since it was handed over: one query."""
    return Signature.objects.filter(rider=rider, at_desk__isnull=False, signed_at__gte=at).exists()


def signatures_of(rider: Rider) -> list[Signature]:
    """Return what was agreed to for a rider, newest first: one query."""
    found = Signature.objects.filter(rider=rider).select_related("at_desk")
    return list(found.order_by("-signed_at", "-id"))
