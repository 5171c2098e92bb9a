"""Promising outings to a party: what is kept, and each thing that cannot be, said beside its field."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

import pytest

from rentals.audit.services import UnableToRepeat
from rentals.bookings.models import Booking, Outing, Party
from rentals.bookings.services import Contact, RiderAlreadyOut, UnableToBook
from rentals.lib.problems import Refused
from rentals.people.models import Rider
from rentals.people.services import RiderFacts
from tests.rentals.walk import DAY, HOUR, MINUTE, Walk

BRAM = RiderFacts(
    name="Bram Sallow",
    born_on=date(1984, 2, 29),
    mass_kg=Decimal("84.5"),
    stature_cm=186,
    level="beginner",
    swims=True,
)


def kept() -> tuple[int, int, int]:
    return Party.objects.count(), Booking.objects.count(), Outing.objects.count()


class TestWhatIsKept:
    def test_each_rider_is_promised_an_outing(self, cast: Walk) -> None:
        booking = cast.book(cast.wren, cast.moss, kind="lesson", note=" by the slipway ")

        outings = Outing.objects.filter(booking=booking).order_by("id")
        assert [outing.rider for outing in outings] == [cast.wren, cast.moss]
        assert {(outing.state, outing.starts_at, outing.ends_at) for outing in outings} == {
            ("booked", cast.at(11), cast.at(13))
        }
        assert (booking.kind, booking.note, booking.booked_by) == ("lesson", "by the slipway", cast.desk)

    def test_a_new_rider_is_kept_with_it(self, cast: Walk) -> None:
        cast.book(cast.wren, replace(BRAM, name="  Bram   Sallow "))

        bram = Rider.objects.get(name="Bram Sallow")
        assert (bram.station, bram.mass_kg, bram.stature_cm) == (cast.tarrow, Decimal("84.5"), 186)
        assert Outing.objects.filter(rider=bram).count() == 1

    def test_a_waiver_signed_at_the_desk_is_dated(self, cast: Walk) -> None:
        cast.book(replace(BRAM, waiver=True), replace(BRAM, name="Unsigned"))

        assert Rider.objects.get(name="Bram Sallow").waiver_signed_at == cast.now
        assert Rider.objects.get(name="Unsigned").waiver_signed_at is None

    def test_the_journal_tells_of_the_booking_and_of_each_outing(self, cast: Walk) -> None:
        booking = cast.book(cast.wren, cast.moss)

        assert cast.told("booking", booking.pk) == ["Booked 2 for Wren Alder, 11:00–13:00"]
        for outing in Outing.objects.filter(booking=booking).select_related("rider"):
            assert cast.told("outing", outing.pk) == [f"Booked {outing.rider} for 11:00–13:00"]

    @pytest.mark.parametrize(
        "contact",
        [Contact(name="Wren", phone="0700 1"), Contact(name="Wren", email="wren@tarrow.invalid")],
        ids=["by phone", "by mail"],
    )
    def test_one_way_to_reach_the_party_is_enough(self, cast: Walk, contact: Contact) -> None:
        assert cast.book(contact=contact).party.contact_name == "Wren"

    def test_the_whole_opening_day_may_be_booked(self, cast: Walk) -> None:
        booking = cast.book(starts_at=cast.at(8) + DAY, ends_at=cast.at(19) + DAY)

        assert Outing.objects.get(booking=booking).starts_at == cast.at(8) + DAY

    def test_an_outing_under_way_may_still_be_booked(self, cast: Walk) -> None:
        assert cast.book(starts_at=cast.now - HOUR, ends_at=cast.now + MINUTE).pk


def naive(cast: Walk) -> dict[str, Any]:
    return {"starts_at": cast.at(11).replace(tzinfo=None)}


Wrong = Callable[[Walk], dict[str, Any]]

WRONG: dict[str, tuple[Wrong, str, str]] = {
    # what is wrong: (the values, the field that it is said beside, some of the words)
    "start without a zone": (naive, "starts_at", "with their zone"),
    "end without a zone": (
        lambda cast: {"ends_at": cast.at(13).replace(tzinfo=None)},
        "starts_at",
        "with their zone",
    ),
    "end before start": (lambda cast: {"ends_at": cast.at(10)}, "ends_at", "after the start"),
    "end at start": (lambda cast: {"ends_at": cast.at(11)}, "ends_at", "after the start"),
    "longer than twelve hours": (
        lambda cast: {"ends_at": cast.at(11) + timedelta(hours=12, minutes=1)},
        "ends_at",
        "at most twelve hours",
    ),
    "over already": (
        lambda cast: {"starts_at": cast.at(8), "ends_at": cast.now},
        "ends_at",
        "over already",
    ),
    "before opening": (
        lambda cast: {"starts_at": cast.at(7, 59) + DAY, "ends_at": cast.at(9) + DAY},
        "starts_at",
        "open 08:00 to 19:00",
    ),
    "after closing": (lambda cast: {"ends_at": cast.at(19, 1)}, "starts_at", "open 08:00 to 19:00"),
    "over midnight": (
        lambda cast: {"starts_at": cast.at(18), "ends_at": cast.at(18) + timedelta(hours=12)},
        "starts_at",
        "open 08:00 to 19:00",
    ),
    "no such kind": (lambda cast: {"kind": "gift"}, "kind", "rental or lesson"),
    "nobody to speak to": (
        lambda cast: {"contact": Contact(name=" ", phone="0700 1")},
        "contact_name",
        "who speaks for the party",
    ),
    "no way to reach them": (
        lambda cast: {"contact": Contact(name="Wren", phone=" ")},
        "contact_phone",
        "phone number or an address",
    ),
    "no rider": (lambda cast: {"riders": []}, "riders", "1 to 20 riders"),
    "too many riders": (lambda cast: {"riders": [cast.wren.pk] * 21}, "riders", "1 to 20 riders"),
    "a rider nobody knows": (lambda cast: {"riders": [0]}, "riders.0.rider", "known here"),
    "a rider of another station": (
        lambda cast: {"riders": [cast.wren.pk, cast.rider("Odo", station=cast.kettle).pk]},
        "riders.1.rider",
        "known here",
    ),
}

WRONG_RIDER: dict[str, tuple[dict[str, Any], str, str]] = {
    "no name": ({"name": " "}, "name", "rider's name"),
    "too light": ({"mass_kg": Decimal("19.9")}, "mass_kg", "between 20 and 160 kg"),
    "too heavy": ({"mass_kg": Decimal("160.1")}, "mass_kg", "between 20 and 160 kg"),
    "too short": ({"stature_cm": 99}, "stature_cm", "between 100 and 220 cm"),
    "too tall": ({"stature_cm": 221}, "stature_cm", "between 100 and 220 cm"),
    "born tomorrow": ({"born_on": date(2027, 7, 15)}, "born_on", "in the past"),
    "too young": ({"born_on": date(2023, 7, 14)}, "born_on", "between 5 and 100 years"),
    "too old": ({"born_on": date(1926, 7, 13)}, "born_on", "between 5 and 100 years"),
    "consent by nobody": ({"consent": True}, "guardian_name", "who consented"),
}


class TestWhatCannotBe:
    @pytest.mark.parametrize(("wrong", "field", "said"), WRONG.values(), ids=WRONG)
    def test_it_is_said_beside_its_field(self, cast: Walk, wrong: Wrong, field: str, said: str) -> None:
        values = wrong(cast)

        with pytest.raises(UnableToBook) as refusal:
            cast.book(**values)

        assert said in refusal.value.fields[field]
        assert kept() == (0, 0, 0)

    @pytest.mark.parametrize(("wrong", "field", "said"), WRONG_RIDER.values(), ids=WRONG_RIDER)
    def test_it_is_said_beside_the_rider_s_field(
        self, cast: Walk, wrong: dict[str, Any], field: str, said: str
    ) -> None:
        with pytest.raises(UnableToBook) as refusal:
            cast.book(cast.wren, replace(BRAM, **wrong))

        assert said in refusal.value.fields[f"riders.1.{field}"]
        assert kept() == (0, 0, 0)
        assert not Rider.objects.filter(name=BRAM.name).exists()

    def test_everything_wrong_with_a_rider_is_said_at_once(self, cast: Walk) -> None:
        with pytest.raises(UnableToBook) as refusal:
            cast.book(replace(BRAM, name="", mass_kg=Decimal(1), stature_cm=1))

        assert set(refusal.value.fields) == {"riders.0.name", "riders.0.mass_kg", "riders.0.stature_cm"}


class TestOneOutingAtATime:
    def test_a_rider_is_not_booked_twice_for_times_that_meet(self, cast: Walk) -> None:
        cast.book(cast.wren)

        with pytest.raises(RiderAlreadyOut, match="Wren Alder is booked"):
            cast.book(cast.moss, cast.wren, starts_at=cast.at(12), ends_at=cast.at(14))

        assert kept() == (1, 1, 1)

    def test_a_rider_is_not_named_twice_in_one_party(self, cast: Walk) -> None:
        with pytest.raises(RiderAlreadyOut):
            cast.book(cast.wren, cast.wren)

        assert kept() == (0, 0, 0)

    def test_a_rider_may_go_again_as_the_first_outing_ends(self, cast: Walk) -> None:
        cast.book(cast.wren)
        cast.book(cast.wren, starts_at=cast.at(13), ends_at=cast.at(15))

        assert kept() == (2, 2, 2)

    def test_an_outing_called_off_does_not_count(self, cast: Walk) -> None:
        Outing.objects.filter(booking=cast.book(cast.wren)).update(state="cancelled")

        assert cast.book(cast.wren).pk


class TestClockChanges:
    """Lisbon's clocks, IANA time zone database: back by an hour at 02:00 on 31 October 2027."""

    @pytest.fixture
    def by_night(self, cast: Walk) -> Walk:
        cast.tarrow.opens, cast.tarrow.closes = datetime.min.time(), datetime.max.time()
        cast.tarrow.save()
        return cast

    def test_an_outing_over_the_hour_shown_twice_has_its_true_length(self, by_night: Walk) -> None:
        zone = by_night.tarrow.zone
        first = datetime(2027, 10, 31, 1, 30, tzinfo=zone)
        second = first.replace(fold=1)

        booking = by_night.book(starts_at=first, ends_at=second)

        outing = Outing.objects.get(booking=booking)
        assert outing.ends_at - outing.starts_at == HOUR

    def test_twelve_hours_are_counted_as_they_pass(self, by_night: Walk) -> None:
        zone = by_night.tarrow.zone
        start, end = datetime(2027, 10, 31, 0, 30, tzinfo=zone), datetime(2027, 10, 31, 12, 30, tzinfo=zone)

        with pytest.raises(UnableToBook, match="at most twelve hours"):
            by_night.book(starts_at=start, ends_at=end)

    def test_opening_hours_are_those_of_the_clock_on_the_wall(self, cast: Walk) -> None:
        summer, winter = datetime(2027, 7, 15, 7, tzinfo=UTC), datetime(2027, 11, 15, 7, tzinfo=UTC)

        assert cast.book(starts_at=summer, ends_at=summer + HOUR).pk
        with pytest.raises(UnableToBook, match="open 08:00"):
            cast.book(starts_at=winter, ends_at=winter + HOUR)


class TestOnce:
    @pytest.fixture
    def key(self) -> UUID:
        return uuid4()

    def test_the_same_form_sent_twice_books_once(self, cast: Walk, key: UUID) -> None:
        assert cast.book(BRAM, once=key) == cast.book(BRAM, once=key)
        assert kept() == (1, 1, 1)

    def test_the_same_values_with_another_key_are_another_booking(self, cast: Walk, key: UUID) -> None:
        cast.book(BRAM, once=key)
        cast.book(BRAM, once=uuid4())

        assert kept() == (2, 2, 2)

    @pytest.mark.parametrize(
        "other",
        [{"note": "changed"}, {"kind": "lesson"}, {"contact": Contact(name="Moss", phone="0700 1")}],
        ids=["note", "kind", "contact"],
    )
    def test_the_same_key_with_other_values_is_refused(
        self, cast: Walk, key: UUID, other: dict[str, Any]
    ) -> None:
        cast.book(BRAM, once=key)

        with pytest.raises(UnableToRepeat, match="other values"):
            cast.book(BRAM, once=key, **other)

        assert kept() == (1, 1, 1)

    def test_the_same_key_for_another_act_is_refused(self, cast: Walk, key: UUID) -> None:
        cast.book(cast.wren, once=key)
        cast.blow()

        with pytest.raises(UnableToRepeat):
            cast.kit(Outing.objects.get(), once=key)

    def test_a_colleague_s_key_is_not_mine(self, cast: Walk, key: UUID) -> None:
        cast.book(BRAM, once=key)
        cast.book(BRAM, once=key, actor=cast.boss)

        assert kept() == (2, 2, 2)

    def test_a_refused_form_may_be_put_right_and_sent_with_its_key(self, cast: Walk, key: UUID) -> None:
        with pytest.raises(Refused):
            cast.book(BRAM, once=key, ends_at=cast.at(10))

        assert cast.book(BRAM, once=key).pk
