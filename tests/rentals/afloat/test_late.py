"""A check that a device kept and the service refused when it came: its rider may be on the water already."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.afloat import queries
from rentals.afloat import services as afloat
from rentals.afloat.models import LateCheck, LateSettled, LaunchCheck
from rentals.bookings.models import Outing
from rentals.checklists import services as checklists
from rentals.lib import clock
from rentals.lib.problems import NotAllowed, Refused
from rentals.mail.models import Letter
from rentals.takings import services as takings
from tests.rentals.browser import Form, signed_in
from tests.rentals.walk import MINUTE, Walk, again

WAITED_S = 1800
"""Ticked at half past nine; it comes at ten."""


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


@pytest.fixture
def outing(cast: Walk) -> Outing:
    return cast.issued()


def lightning(cast: Walk, outing: Outing) -> None:
    cast.watch_the_beach(lightning=True)


def recalled(cast: Walk, outing: Outing) -> None:
    afloat.recall(actor=cast.ida, station_id=cast.tarrow.pk, now=cast.now)


def another_list(cast: Walk, outing: Outing) -> None:
    lines = [checklists.Written(kind="rider", text="Rider is well")]
    checklists.keep_list(
        actor=cast.boss, station_id=cast.tarrow.pk, check="launch", lines=lines, version=0, now=cast.now
    )


def another_kit(cast: Walk, outing: Outing) -> None:
    cast.take_back(outing, after=timedelta(0))


def called_off(cast: Walk, outing: Outing) -> None:
    Outing.objects.filter(pk=outing.pk).update(state="cancelled")


REFUSED: dict[str, tuple[Callable[[Walk, Outing], None], int, str]] = {
    # what happened while the device was away: (how, what is answered, what is said of it)
    "a gate has closed": (lightning, 422, "Lightning"),
    "everybody was called ashore": (recalled, 422, "Everybody is called ashore"),
    "the list was edited": (another_list, 422, "The check list is at version 1 now"),
    "the kit was taken back": (another_kit, 409, "The outing is booked"),
    "the outing was called off": (called_off, 409, "The outing is cancelled"),
}


class Device:
    """An instructor's device that went through the sheet without a connection."""

    def __init__(self, cast: Walk, outing: Outing) -> None:
        self.client = signed_in(cast.instructor)
        self.address = reverse("launch-check", args=[cast.tarrow.slug, outing.pk])
        page = Form(self.client.get(self.address)).page
        form = page.select_one("main form[novalidate]")
        assert form is not None
        self.kept = {
            str(each["name"]): str(each.get("value", "on"))
            for each in form.select("input[name]")
            if each["name"] != "csrfmiddlewaretoken"
        }

    def send(self, *, waited_s: int | None = WAITED_S, **more: str) -> Any:
        waited = {} if waited_s is None else {"waited_s": str(waited_s)}
        return self.client.post(self.address, {**self.kept, "launch": "1", **waited, **more})


def bar(cast: Walk) -> str:
    """What every page says, as somebody at the desk reads it."""
    return _words(signed_in(cast.desk).get(reverse("watch-bar", args=[cast.tarrow.slug])))


def afloat_page(cast: Walk) -> str:
    return _words(signed_in(cast.desk).get(reverse("afloat", args=[cast.tarrow.slug])))


def _words(answer: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def note(cast: Walk, outing: Outing, *, once: UUID | None = None, **values: Any) -> LateCheck | None:
    usual: dict[str, Any] = {"actor": cast.jory, "waited_s": WAITED_S, "why": "Lightning.", "now": cast.now}
    return afloat.note_late(outing_id=outing.pk, once=once or uuid4(), **{**usual, **values})


class TestARefusedLateCheck:
    @pytest.mark.parametrize(("change", "status", "why"), REFUSED.values(), ids=REFUSED)
    def test_everybody_learns_that_the_rider_may_be_afloat(
        self, cast: Walk, outing: Outing, change: Callable[[Walk, Outing], None], status: int, why: str
    ) -> None:
        device = Device(cast, outing)
        change(cast, outing)

        answer = device.send()

        assert answer.status_code == status
        assert again(outing).state != "afloat"
        assert "Wren Alder may be afloat: a check ticked 09:30 without a connection was refused." in bar(cast)
        page = afloat_page(cast)
        assert "Wren Alder may be afloat: a check ticked" in page
        assert why in page
        (told,) = [text for text in cast.told("outing", outing.pk) if "may be afloat" in text]
        assert "(ticked 09:30 on a device without a connection)" in told
        assert why in told

    def test_the_station_s_watch_has_a_letter(self, cast: Walk, outing: Outing) -> None:
        late = note(cast, outing)

        assert late is not None
        letter = Letter.objects.get(event=f"late-check:{late.pk}")
        assert letter.to == cast.tarrow.watch_email
        assert "Wren Alder may be afloat" in letter.subject
        assert "Lightning." in letter.body

    def test_sent_again_by_its_key_it_is_noted_once(self, cast: Walk, outing: Outing) -> None:
        device = Device(cast, outing)
        called_off(cast, outing)

        for waited_s in (WAITED_S, WAITED_S + 15):
            assert device.send(waited_s=waited_s).status_code == 409

        assert LateCheck.objects.count() == 1
        assert Letter.objects.filter(event__startswith="late-check:").count() == 1

    def test_a_check_that_is_logged_as_not_passed_is_noted_once_too(self, cast: Walk, outing: Outing) -> None:
        device = Device(cast, outing)
        lightning(cast, outing)

        for waited_s in (WAITED_S, WAITED_S + 15):
            assert device.send(waited_s=waited_s).status_code == 422

        assert (LaunchCheck.objects.count(), LateCheck.objects.count()) == (1, 1)

    def test_points_left_open_are_counted(self, cast: Walk, outing: Outing) -> None:
        """Spelt out they would hide the rider's name on a phone."""
        cast.look_over(outing, open_points=["boom.clamp"], waited_s=WAITED_S)

        assert LateCheck.objects.get().why == "1 of the points was not ticked."

    def test_those_of_several_riders_are_told_together(self, cast: Walk, outing: Outing) -> None:
        (other,) = cast.booked(cast.moss, hour=15)
        for each in (outing, other):
            note(cast, each)

        assert "Wren Alder, Moss Hazel may be afloat: checks ticked without a connection" in bar(cast)

    def test_settled_it_is_not_brought_up_again_by_the_same_key(self, cast: Walk, outing: Outing) -> None:
        key = uuid4()
        note(cast, outing, once=key)
        afloat.not_out(actor=cast.jory, outing_id=outing.pk, now=cast.now)

        note(cast, outing, once=key)

        assert queries.may_be_out(cast.tarrow) == ()

    def test_where_the_device_s_clock_cannot_be_right_no_time_is_told(
        self, cast: Walk, outing: Outing
    ) -> None:
        note(cast, outing, waited_s=-5)

        assert "a check ticked without a connection was refused" in bar(cast)
        assert "whose clock cannot be right" in afloat_page(cast)

    def test_what_cannot_be_read_of_it_is_noted_all_the_same(self, cast: Walk, outing: Outing) -> None:
        assert Device(cast, outing).send(kit_no="one").status_code == 422

        assert "Wren Alder may be afloat" in bar(cast)


class TestWhatIsNoSuchThing:
    def test_a_check_that_came_at_once_and_was_refused(self, cast: Walk, outing: Outing) -> None:
        device = Device(cast, outing)
        lightning(cast, outing)

        assert device.send(waited_s=None).status_code == 422

        assert not LateCheck.objects.exists()
        assert "may be afloat" not in bar(cast) + afloat_page(cast)

    def test_a_late_check_that_passes(self, cast: Walk, outing: Outing) -> None:
        assert Device(cast, outing).send().status_code == 302

        assert again(outing).state == "afloat"
        assert not LateCheck.objects.exists()

    def test_a_rider_whom_somebody_else_let_go_meanwhile(self, cast: Walk, outing: Outing) -> None:
        device = Device(cast, outing)
        cast.look_over(outing, launch=True)

        assert device.send().status_code == 409

        assert not LateCheck.objects.exists()

    def test_a_rider_noted_ashore_after_it_was_ticked(self, cast: Walk) -> None:
        out = cast.out()
        cast.land(out)

        assert note(cast, out, now=cast.now + 3 * WAITED_S * timedelta(seconds=1)) is None

    def test_one_noted_ashore_before_it_was_ticked_may_be_out_again(self, cast: Walk) -> None:
        out = cast.out()
        cast.land(out, after=MINUTE)

        assert note(cast, out, now=cast.now + 2 * WAITED_S * timedelta(seconds=1)) is not None


class TestSettling:
    @pytest.fixture
    def late(self, cast: Walk, outing: Outing) -> LateCheck:
        made = note(cast, outing)
        assert made is not None
        return made

    def test_the_rider_is_let_go_by_a_new_check(self, cast: Walk, outing: Outing, late: LateCheck) -> None:
        cast.look_over(outing, launch=True)

        assert queries.may_be_out(cast.tarrow) == ()
        assert LateSettled.objects.get().late == late

    def test_a_new_check_alone_settles_nothing(self, cast: Walk, outing: Outing, late: LateCheck) -> None:
        cast.look_over(outing)

        assert queries.may_be_out(cast.tarrow) == (late,)

    def test_calling_the_outing_off_settles_nothing(
        self, cast: Walk, outing: Outing, late: LateCheck
    ) -> None:
        """What is called off at the desk may still be on the water."""
        cast.take_back(outing, after=timedelta(0))
        assert queries.may_be_out(cast.tarrow) == (late,)

        (other,) = cast.booked(cast.moss, hour=15)
        second = note(cast, other)
        takings.cancel_outing(actor=cast.ida, outing_id=other.pk, missed=False, reason="Ill", now=cast.now)

        assert queries.may_be_out(cast.tarrow) == (late, second)

    def test_an_instructor_looks_and_says_so(self, cast: Walk, outing: Outing, late: LateCheck) -> None:
        address = reverse("not-out", args=[cast.tarrow.slug, outing.pk])
        for _tap in range(2):
            assert signed_in(cast.instructor).post(address).status_code == 302

        assert "may be afloat" not in bar(cast) + afloat_page(cast)
        settled = LateSettled.objects.get()
        assert (settled.late, settled.by) == (late, cast.instructor)
        said = [text for text in cast.told("outing", outing.pk) if "is not out" in text]
        assert said == [f"{cast.jory.name} looked: Wren Alder is not out"]

    def test_the_desk_does_not(self, cast: Walk, outing: Outing, late: LateCheck) -> None:
        with pytest.raises(NotAllowed):
            afloat.not_out(actor=cast.ida, outing_id=outing.pk, now=cast.now)

        assert "I looked: is not out" not in afloat_page(cast)
        assert "Wren Alder may be afloat" in bar(cast)

    def test_elsewhere_nothing_is_said_and_nothing_found(
        self, cast: Walk, outing: Outing, late: LateCheck
    ) -> None:
        assert queries.may_be_out(cast.kettle) == ()
        with pytest.raises(Refused):
            afloat.not_out(actor=cast.rhys, outing_id=outing.pk, now=cast.now)


def test_many_notes_are_one_query_and_each_rider_stands_there_once(cast: Walk, outing: Outing) -> None:
    newest = [note(cast, outing), note(cast, outing)][-1]
    (other,) = cast.booked(cast.moss, hour=15)
    second = note(cast, other)

    with CaptureQueriesContext(connection) as asked:
        found = queries.may_be_out(cast.tarrow)
        assert [str(each.outing.rider) for each in found] == ["Wren Alder", "Moss Hazel"]

    assert found == (newest, second)
    assert len(asked) == 1
