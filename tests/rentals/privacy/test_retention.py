"""Letting go: what is old goes by the table, a dry run only counts, and the record stays."""

from datetime import datetime, timedelta

import pytest
from django.core.management import call_command

from rentals.audit.models import Entry, Once
from rentals.home.models import Link, Tally
from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.mail.models import Letter
from rentals.people.models import Rider
from rentals.privacy import services
from rentals.privacy.mapping import BY_KEY, KEEPS
from tests.rentals.home.house import House
from tests.rentals.walk import DAY, Walk

RETAIN = service(System.RETAIN)


@pytest.fixture
def house(cast: Walk) -> House:
    made = House(cast)
    made.open()
    return made


def let_go(house: House, after: timedelta, *, dry: bool = False) -> dict[str, int]:
    return services.let_go(actor=RETAIN, now=house.cast.now + after, dry=dry)


def test_a_dry_run_counts_and_changes_nothing(house: House) -> None:
    house.book()
    before = (Letter.objects.get().body, Link.objects.count())

    due = let_go(house, 40 * DAY, dry=True)

    assert (due["letters"], due["links"]) == (1, 1)
    assert (Letter.objects.get().body, Link.objects.count()) == before


def test_letters_are_emptied_after_thirty_days_and_not_before(house: House) -> None:
    house.book()

    let_go(house, 30 * DAY)
    assert Letter.objects.get().body
    let_go(house, 30 * DAY + timedelta(seconds=1))
    assert (Letter.objects.get().body, Letter.objects.get().calendar) == ("", "")


def test_links_marks_and_tallies_are_deleted(house: House) -> None:
    house.book()
    Tally.objects.create(key="0" * 64, since=house.cast.now, count=1)
    Once.objects.create(
        user=house.cast.desk, key="0" * 32, act="book a party", fingerprint="0" * 64, at=house.cast.now
    )

    let_go(house, 40 * DAY)

    assert (Link.objects.count(), Tally.objects.count(), Once.objects.count()) == (0, 0, 0)


def test_who_asked_and_never_came_is_erased(house: House) -> None:
    guest = house.queue()
    rider = guest.riders.get()

    let_go(house, 20 * DAY)
    assert Rider.objects.get(pk=rider.pk).name == "Ada Brill"
    let_go(house, 40 * DAY)
    assert Rider.objects.get(pk=rider.pk).name == f"Rider {rider.pk}"
    assert let_go(house, 41 * DAY)["asked"] == 0


def test_a_rider_not_seen_for_three_years_is_erased(house: House) -> None:
    outing = house.cast.returned()

    let_go(house, 3 * 365 * DAY - DAY)
    assert Rider.objects.get(pk=outing.rider_id).name == "Wren Alder"
    let_go(house, 3 * 365 * DAY + 2 * DAY)
    assert Rider.objects.get(pk=outing.rider_id).name == f"Rider {outing.rider_id}"


def test_the_journal_stays(house: House) -> None:
    house.cast.returned()
    lines = Entry.objects.count()

    let_go(house, 20 * 365 * DAY)

    assert Entry.objects.count() >= lines


def test_every_kind_says_why_and_what_then() -> None:
    assert len(BY_KEY) == len(KEEPS)
    for keep in KEEPS:
        assert keep.why
        assert keep.then


def test_the_command_counts(
    house: House, now: datetime, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    house.book()
    monkeypatch.setattr(clock, "now", lambda: now + 40 * DAY)

    call_command("retain", "--dry-run")

    assert "     1  Text of letters to riders: emptied" in capsys.readouterr().out
    assert Letter.objects.get().body
