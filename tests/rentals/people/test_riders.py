"""Changing what is known of a rider: facts in range, signatures dated once, every change in the journal."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from rentals.audit.models import Entry
from rentals.lib.problems import NotVisible
from rentals.people.models import Rider
from rentals.people.services import RiderFacts, UnableToKeepRider, change_rider
from tests.rentals.walk import DAY, Walk

FACTS = RiderFacts(
    name="Wren Alder",
    born_on=date(1990, 5, 1),
    mass_kg=Decimal("72.0"),
    stature_cm=176,
    level="advanced",
    swims=True,
    phone="0700 100 200",
    waiver=True,
)


def change(cast: Walk, *, now: datetime | None = None, **facts: Any) -> Rider:
    return change_rider(
        actor=cast.ida, rider_id=cast.wren.pk, facts=replace(FACTS, **facts), now=now or cast.now
    )


def test_a_new_mass_is_kept_and_the_journal_has_both(cast: Walk) -> None:
    change(cast, mass_kg=Decimal("74.5"))

    assert Rider.objects.get(pk=cast.wren.pk).mass_kg == Decimal("74.5")
    entry = Entry.objects.about("rider", cast.wren.pk).get()
    assert entry.data == {"mass_kg": ["72.0", "74.5"]}
    assert entry.text == "Changed mass_kg"


@pytest.mark.parametrize(
    "mass_kg",
    [
        pytest.param(Decimal("72.0"), id="as kept"),
        pytest.param(
            Decimal(72),
            id="without decimals",
        ),
    ],
)
def test_what_was_known_already_is_no_change(cast: Walk, mass_kg: Decimal) -> None:
    change(cast, mass_kg=mass_kg)

    assert Entry.objects.about("rider", cast.wren.pk).get().text == "Changed nothing"


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"name": ""}, "name"),
        ({"mass_kg": Decimal("160.5")}, "mass_kg"),
        ({"stature_cm": 90}, "stature_cm"),
        ({"born_on": date(2030, 1, 1)}, "born_on"),
        ({"consent": True}, "guardian_name"),
    ],
)
def test_a_fact_that_cannot_be_is_said_beside_its_field(
    cast: Walk, wrong: dict[str, Any], field: str
) -> None:
    with pytest.raises(UnableToKeepRider) as refusal:
        change(cast, **wrong)

    assert list(refusal.value.fields) == [field]
    assert Rider.objects.get(pk=cast.wren.pk).name == "Wren Alder"
    assert not Entry.objects.about("rider", cast.wren.pk).exists()


class TestSignatures:
    def test_a_waiver_keeps_the_day_it_was_signed(self, cast: Walk) -> None:
        signed = cast.wren.waiver_signed_at

        assert change(cast, now=cast.now + DAY).waiver_signed_at == signed

    def test_a_waiver_taken_back_is_gone_and_dated_anew_when_signed_again(self, cast: Walk) -> None:
        assert change(cast, waiver=False).waiver_signed_at is None
        assert change(cast, now=cast.now + DAY).waiver_signed_at == cast.now + DAY

    def test_a_named_guardian_may_consent(self, cast: Walk) -> None:
        changed = change(cast, guardian_name="Runa Alder", consent=True)

        assert changed.guardian_consent_at == cast.now


class TestAge:
    @pytest.mark.parametrize(
        ("day", "age"),
        [(date(2027, 3, 8), 13), (date(2027, 3, 9), 14), (date(2031, 3, 9), 18)],
        ids=["the day before", "the birthday", "of age"],
    )
    def test_a_year_is_full_on_the_birthday(self, cast: Walk, day: date, age: int) -> None:
        assert cast.fern.age_on(day) == age
        assert cast.fern.is_minor_on(day) is (age < 18)

    def test_somebody_born_on_the_leap_day_turns_on_the_first_of_march(self) -> None:
        """Common practice in most countries' law: the year is full when 28 February is over; no source."""
        leapling = Rider(born_on=date(2008, 2, 29))

        assert leapling.age_on(date(2026, 2, 28)) == 17
        assert leapling.age_on(date(2026, 3, 1)) == 18


def test_a_rider_of_another_station_does_not_exist(cast: Walk) -> None:
    with pytest.raises(NotVisible):
        change_rider(actor=cast.rhys, rider_id=cast.wren.pk, facts=FACTS, now=cast.now)


def test_the_youngest_and_the_oldest_may_ride(cast: Walk) -> None:
    for years in (5, 99):
        born = cast.now.date() - timedelta(days=round(365.25 * years) + 1)
        assert change(cast, born_on=born).born_on == born
