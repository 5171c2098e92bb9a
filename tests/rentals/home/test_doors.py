"""Who gets through: every service for people at home, by role, and what only the service itself does."""

import ast
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from rentals.audit.models import Entry
from rentals.home import queries, services
from rentals.home.services.limits import POSTS
from rentals.lib.access import NOBODY, Actor, System, service
from rentals.lib.problems import NotAllowed, NotVisible
from tests.rentals.home.house import ADA, PUPIL, House
from tests.rentals.lessons.school import School
from tests.rentals.test_doors import ROLES
from tests.rentals.walk import DAY, HOUR

Call = Callable[..., object]


def open_front(house: House) -> Call:
    facts = services.FrontFacts(is_open=False, phone="0700 1")
    return partial(services.open_front, station_id=house.cast.tarrow.pk, facts=facts, now=house.cast.now)


def revoke(house: House) -> Call:
    return partial(services.revoke_links, guest_id=house.book().pk, now=house.cast.now)


def sign(house: House) -> Call:
    signed = services.Signed(version=services.version_of(house.front), language="en", name="Moss Hazel")
    return partial(
        services.sign_at_desk,
        rider_id=house.cast.moss.pk,
        signed=signed,
        handed_at=house.cast.now,
        now=house.cast.now,
    )


DOORS = {
    "open_front": (open_front, "M"),
    "revoke_links": (revoke, "DM"),
    "sign_at_desk": (sign, "DIM"),
}


def keep(house: House) -> Call:
    asked = house.asked()
    mark = queries.mark_of(house.cast.tarrow, asked.starts_at)
    return partial(services.keep_asked, front_id=house.front.pk, asked=asked, mark=mark, now=house.cast.now)


def move(house: House) -> Call:
    guest, span = house.book(), (house.cast.at(16), house.cast.at(18))
    mark = queries.mark_of(house.cast.tarrow, span[0])
    return partial(
        services.keep_move,
        guest_id=guest.pk,
        front_id=house.front.pk,
        span=span,
        mark=mark,
        now=house.cast.now,
    )


def take_seat(house: House) -> Call:
    lesson, asked = School(house.cast).lesson(), house.asked(PUPIL)
    return partial(
        services.book_lesson,
        front_id=house.front.pk,
        lesson_id=lesson.pk,
        asked=asked,
        now=house.cast.now,
    )


def change_seat(house: House) -> Call:
    school = School(house.cast)
    guest, other = house.take(school.lesson(), PUPIL), school.lesson(hours=(16,))
    return partial(services.change_lesson, guest_id=guest.pk, lesson_id=other.pk, now=house.cast.now)


def facts(house: House) -> Call:
    start = house.cast.at(14) + DAY
    guest = house.book(starts_at=start, ends_at=start + 2 * HOUR)
    return partial(
        services.keep_facts,
        guest_id=guest.pk,
        front_id=house.front.pk,
        rider_id=guest.riders.get().pk,
        facts=replace(ADA, phone="0700 555 999"),
        mark="",
        now=house.cast.now,
    )


def offer(house: House) -> Call:
    guest = house.queue()
    mark = queries.mark_of(house.cast.tarrow, guest.starts_at)
    return partial(
        services.keep_offer,
        guest_id=guest.pk,
        front_id=house.front.pk,
        mark=mark,
        holds=True,
        now=house.cast.now,
    )


def sweep(name: str) -> Callable[[House], Call]:
    return lambda house: partial(getattr(services, name), now=house.cast.now)


BY_ITSELF: dict[str, tuple[Callable[[House], Call], System]] = {
    "keep_asked": (keep, System.HOME),
    "keep_facts": (facts, System.HOME),
    "keep_move": (move, System.HOME),
    "join_queue": (
        lambda house: partial(
            services.join_queue, front_id=house.front.pk, asked=house.asked(), now=house.cast.now
        ),
        System.HOME,
    ),
    "book_lesson": (take_seat, System.HOME),
    "change_lesson": (change_seat, System.HOME),
    "leave": (
        lambda house: partial(services.leave, guest_id=house.book().pk, now=house.cast.now),
        System.HOME,
    ),
    "take_offer": (
        lambda house: partial(services.take_offer, guest_id=house.book().pk, now=house.cast.now),
        System.HOME,
    ),
    "open_link": (
        lambda house: partial(services.open_link, guest_id=house.book().pk, now=house.cast.now),
        System.HOME,
    ),
    "count_post": (
        lambda house: partial(services.count_post, limit=POSTS, address="192.0.2.1", now=house.cast.now),
        System.HOME,
    ),
    "keep_offer": (offer, System.TELL),
    **{
        name: (sweep(name), System.TELL)
        for name in (
            "welcome_desk",
            "tell_changes",
            "tell_lessons",
            "tell_wind",
            "remind",
            "thank",
            "pass_over",
        )
    },
}


def test_every_service_that_writes_has_a_door_here() -> None:
    writing = {
        node.name
        for path in Path(services.__file__).parent.glob("*.py")
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.FunctionDef)
        if "write" in {ast.unparse(each) for each in node.decorator_list}
    }

    assert writing == DOORS.keys() | BY_ITSELF.keys()


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", DOORS)
def test_a_role_gets_through_where_it_may(house: House, name: str, role: str) -> None:
    door, may = DOORS[name]
    call, actor = door(house), ROLES[role](house.cast)
    before = Entry.objects.count()

    if role in may:
        call(actor=actor)
        assert Entry.objects.count() > before
    else:
        with pytest.raises(NotAllowed, match="Ask a colleague who is"):
            call(actor=actor)
        assert Entry.objects.count() == before


@pytest.mark.parametrize("name", DOORS)
def test_from_elsewhere_there_is_nothing_here(house: House, name: str) -> None:
    call = DOORS[name][0](house)
    strangers: list[Actor] = [house.cast.rhys, house.cast.actor(house.cast.stranger), NOBODY]

    for actor in [*strangers, service(*System)]:
        with pytest.raises(NotVisible):
            call(actor=actor)


@pytest.mark.parametrize("name", BY_ITSELF)
def test_what_the_service_does_by_itself_no_person_does(house: House, name: str) -> None:
    door, act = BY_ITSELF[name]
    call = door(house)

    for actor in (house.cast.boss, house.cast.rhys, NOBODY, service(*(set(System) - {act}))):
        with pytest.raises(NotAllowed, match="Only the service itself"):
            call(actor=actor)
    call(actor=service(act))
