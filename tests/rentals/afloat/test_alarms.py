"""Alarms: told to the next one until somebody takes them on; days on which the clock does odd things."""

from datetime import UTC, date, datetime, timedelta

import pytest

from rentals.afloat import queries
from rentals.afloat import services as afloat
from rentals.afloat.models import Acknowledgement, Escalation, PhaseChange
from rentals.afloat.services import Contact, set_contacts, set_hook
from rentals.audit.models import Entry
from rentals.bookings.models import Outing
from rentals.fleet.models import Hold
from rentals.lib.access import System, service
from rentals.mail.models import Call, Letter
from rentals.stations.models import Station
from tests.rentals.walk import HOUR, MINUTE, Walk, again

LOOKOUT = service(System.WATCH)
SECOND = timedelta(seconds=1)


@pytest.fixture
def outing(cast: Walk) -> Outing:
    """Wren afloat, due at 13:00 on a mild day."""
    return cast.out()


@pytest.fixture
def contacts(cast: Walk) -> None:
    """Maud, then Jory."""
    people = [Contact(name="Maud", email="maud@tarrow.invalid"), Contact(name="Jory", email="jory@x.invalid")]
    set_contacts(actor=cast.boss, station_id=cast.tarrow.pk, contacts=people, now=cast.now)


def look(outing: Outing, minutes: float) -> int:
    return afloat.watch(actor=LOOKOUT, station_id=outing.station_id, now=outing.ends_at + minutes * MINUTE)


def steps() -> list[tuple[int, str]]:
    letters = Letter.objects.filter(event__contains=":step").order_by("id")
    return [(int(letter.event.split(":step")[1].split(":")[0]), letter.to) for letter in letters]


@pytest.mark.usefixtures("contacts")
class TestEscalation:
    def test_the_next_contact_is_told_every_five_minutes(self, outing: Outing) -> None:
        for minutes in (10, 11, 14.9, 15, 16, 20):
            look(outing, minutes)

        assert steps() == [(1, "maud@tarrow.invalid"), (2, "jory@x.invalid")]

    def test_after_the_last_one_everybody_is_told_each_time(self, cast: Walk, outing: Outing) -> None:
        Station.objects.update(acknowledge_min=3)

        for minutes in (10, 13, 16, 19):
            look(outing, minutes)

        told = [to for step, to in steps() if step == 3]
        assert told == [cast.tarrow.watch_email, "maud@tarrow.invalid", "jory@x.invalid"]

    def test_it_is_louder_each_time(self, outing: Outing) -> None:
        for minutes in (10, 15, 20):
            look(outing, minutes)

        subjects = (
            Letter.objects.filter(event__contains=":step").order_by("id").values_list("subject", flat=True)
        )
        assert [subject.split(".")[0] for subject in subjects] == ["URGENT, call 2", "URGENT, call 3"]

    def test_who_takes_it_on_ends_it(self, cast: Walk, outing: Outing) -> None:
        look(outing, 10)
        afloat.acknowledge(actor=cast.ida, outing_id=outing.pk, now=outing.ends_at + 11 * MINUTE)

        for minutes in (15, 20, 24):
            look(outing, minutes)

        assert steps() == []
        assert cast.told("outing", outing.pk)[0] == "Ida Desk has taken on: uncertainty"

    def test_the_next_phase_asks_anew(self, cast: Walk, outing: Outing) -> None:
        look(outing, 10)
        afloat.acknowledge(actor=cast.ida, outing_id=outing.pk, now=outing.ends_at + 11 * MINUTE)

        for minutes in (25, 30):
            look(outing, minutes)

        assert Escalation.objects.get().change.phase == "alert"

    def test_only_the_newest_phase_is_told_again(self, outing: Outing) -> None:
        for minutes in (40, 45):
            look(outing, minutes)

        assert {escalation.change.phase for escalation in Escalation.objects.all()} == {"distress"}

    def test_who_comes_ashore_ends_it(self, cast: Walk, outing: Outing) -> None:
        look(outing, 10)
        cast.land(outing, after=outing.ends_at + 12 * MINUTE - cast.now)

        look(outing, 20)

        assert steps() == []

    def test_taking_on_twice_is_once(self, cast: Walk, outing: Outing) -> None:
        look(outing, 10)

        taken = [afloat.acknowledge(actor=cast.ida, outing_id=outing.pk, now=outing.ends_at) for _ in "12"]

        assert taken == [1, 0]
        assert Acknowledgement.objects.count() == 1

    def test_a_station_sets_the_minutes(self, outing: Outing) -> None:
        Station.objects.update(acknowledge_min=2)

        for minutes in (10, 12):
            look(outing, minutes)

        assert steps() == [(1, "maud@tarrow.invalid")]


class TestCalls:
    def test_each_phase_is_posted_under_the_id_of_its_letter(self, cast: Walk, outing: Outing) -> None:
        set_hook(actor=cast.boss, station_id=cast.tarrow.pk, url="https://alarm.invalid/", now=cast.now)

        look(outing, 40)

        calls = set(Call.objects.values_list("event", flat=True))
        assert calls == set(Letter.objects.values_list("event", flat=True))
        assert len(calls) == 3

    def test_a_post_carries_no_phone_number(self, cast: Walk, outing: Outing) -> None:
        set_hook(actor=cast.boss, station_id=cast.tarrow.pk, url="https://alarm.invalid/", now=cast.now)

        look(outing, 10)

        assert "0700" not in Call.objects.get().body


class TestStationSettings:
    def test_the_station_s_own_minutes_count(self, outing: Outing) -> None:
        Station.objects.update(uncertainty_min=1, alert_min=2, distress_min=3)

        look(outing, 2)

        assert set(PhaseChange.objects.values_list("phase", flat=True)) == {"uncertainty", "alert"}

    def test_its_own_cold_water_halves_them(self, cast: Walk, outing: Outing) -> None:
        Station.objects.update(cold_water_c=20)

        look(outing, 5)

        assert PhaseChange.objects.get().phase == "uncertainty"


class TestTheBeat:
    def test_a_look_notes_it(self, cast: Walk, outing: Outing) -> None:
        look(outing, 1)

        assert queries.missed(Station.objects.get(), outing.ends_at + MINUTE) == ""

    def test_a_page_s_own_look_does_not(self, outing: Outing) -> None:
        afloat.look(actor=LOOKOUT, station_id=outing.station_id, now=outing.ends_at + 10 * MINUTE)

        assert PhaseChange.objects.get().phase == "uncertainty"
        assert Station.objects.get().watched_at is None

    @pytest.mark.parametrize("seconds", [61, 3600, -61], ids=["late", "an hour", "from the future"])
    def test_an_old_one_is_missed(self, outing: Outing, seconds: int) -> None:
        look(outing, 0)

        assert "has not looked since" in queries.missed(
            Station.objects.get(), outing.ends_at + seconds * SECOND
        )

    def test_what_fails_notes_nothing(self, outing: Outing, monkeypatch: pytest.MonkeyPatch) -> None:
        def fail(*_: object, **__: object) -> None:
            raise RuntimeError("mail table gone")

        monkeypatch.setattr("rentals.mail.services.write_letter", fail)

        with pytest.raises(RuntimeError):
            look(outing, 10)

        assert Station.objects.get().watched_at is None
        assert not PhaseChange.objects.exists()

    def test_one_odd_outing_does_not_blind_the_watch(
        self, cast: Walk, outing: Outing, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """What cannot be judged counts as the worse case: half the minutes."""
        type(outing.rider).objects.filter(pk=outing.rider_id).update(born_on=date(2030, 1, 1))

        look(outing, 5)

        assert PhaseChange.objects.get().phase == "uncertainty"

    def test_it_says_what_it_missed(self, cast: Walk, outing: Outing) -> None:
        look(outing, -30)
        look(outing, 30)

        (said,) = [text for text in cast.told("station", cast.tarrow.pk) if "did not look" in text]
        assert said.startswith("The watch did not look from 12:30:00 to 13:30:00 (60 min). Afloat now: 1")
        assert Letter.objects.filter(event__startswith="watch-away:").count() == 1
        assert set(PhaseChange.objects.values_list("phase", flat=True)) == {"uncertainty", "alert"}
        assert queries.afloat_page(cast.tarrow, now=outing.ends_at + 31 * MINUTE).gap == said

    def test_with_nobody_afloat_it_says_so_in_the_journal_alone(self, cast: Walk) -> None:
        for at in (cast.now, cast.now + HOUR):
            afloat.watch(actor=LOOKOUT, station_id=cast.tarrow.pk, now=at)

        assert "did not look" in cast.told("station", cast.tarrow.pk)[0]
        assert not Letter.objects.exists()


NIGHTS = {
    "spring, when the clocks skip one to two": datetime(2027, 3, 28, 0, 55, tzinfo=UTC),
    "autumn, when they show one to two twice": datetime(2027, 10, 31, 0, 55, tzinfo=UTC),
    "midnight": datetime(2027, 7, 14, 22, 55, tzinfo=UTC),
}
"""Due times close to a change of Europe/Lisbon, or to its midnight.

The changes are at 01:00 UTC on the last Sundays of March and October (Directive 2000/84/EC).
"""


class TestOddClocks:
    @pytest.mark.parametrize("due", NIGHTS.values(), ids=NIGHTS)
    def test_phases_begin_by_minutes_that_pass_whatever_the_wall_shows(
        self, cast: Walk, outing: Outing, due: datetime
    ) -> None:
        Hold.objects.update(live=False)
        Outing.objects.filter(pk=outing.pk).update(starts_at=due - 3 * HOUR, ends_at=due)

        # After dark the minutes are halved: 5, 12.5 and 20 (common practice, no source).
        seen = []
        for minutes in (4.9, 5.0, 12.4, 12.5, 19.9, 20.0, 75.0):
            look(again(outing), minutes)
            seen.append(PhaseChange.objects.count())

        assert seen == [0, 1, 1, 2, 2, 3, 3]

    def test_a_clock_set_back_lowers_and_repeats_nothing(self, cast: Walk, outing: Outing) -> None:
        look(outing, 26)
        before = outing.ends_at - 30 * MINUTE

        look(outing, -30)
        (row,) = queries.afloat_page(cast.tarrow, now=before).riders
        assert (row.result.phase, row.minutes_left) == ("alert", 30)
        look(outing, 26)
        look(outing, 40)

        assert PhaseChange.objects.count() == 3
        said = Entry.objects.about("outing", outing.pk).filter(text__regex=r"^Overdue: \w+\. ")
        assert said.count() == 3

    def test_a_clock_set_back_is_told(self, cast: Walk, outing: Outing) -> None:
        look(outing, 26)
        look(outing, -34)

        assert any("The clock went back" in text for text in cast.told("station", cast.tarrow.pk))

    def test_a_clock_set_back_does_not_silence_the_next_call(self, outing: Outing) -> None:
        look(outing, 10)
        look(outing, -50)

        assert Escalation.objects.count() == 1

    def test_a_whole_day_has_each_phase_once(self, cast: Walk, outing: Outing) -> None:
        for minutes in range(-60, 180, 3):
            look(outing, minutes)

        at = dict(PhaseChange.objects.values_list("phase", "raised_at"))
        assert {phase: (when - outing.ends_at) / MINUTE for phase, when in at.items()} == {
            "uncertainty": 12,
            "alert": 27,
            "distress": 42,
        }
