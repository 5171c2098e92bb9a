"""The bench: faults reported, mended and released by a second person; and items withdrawn for good."""

from typing import Any
from uuid import uuid4

import pytest

from rentals.bench.models import Job
from rentals.bench.services import JobMovedOn, UnableToMend, report_fault, withdraw
from rentals.fleet.models import Item, Rig
from rentals.fleet.services import UnableToMove
from tests.rentals.walk import HOUR, Walk, again


class TestReport:
    def test_an_item_with_a_fault_goes_to_the_bench_at_once(self, cast: Walk) -> None:
        job = cast.faulty("B1", " Clamp slips ")

        assert (job.state, job.fault, job.opened_by_id) == ("open", "Clamp slips", cast.boss.user_id)
        assert cast.state_of("B1") == "on_bench"

    def test_a_second_fault_is_a_second_job(self, cast: Walk) -> None:
        cast.faulty("B1", "Clamp slips")
        cast.faulty("B1", "Grip torn")

        assert Job.objects.filter(item=cast.shed["B1"], state="open").count() == 2
        assert cast.told("item", cast.shed["B1"].pk) == ["Another fault: Grip torn", "Fault: Clamp slips"]

    def test_an_item_held_back_may_be_reported(self, cast: Walk) -> None:
        Item.objects.filter(pk=cast.shed["B1"].pk).update(state="held_back")

        assert cast.faulty("B1").state == "open"

    def test_a_rig_that_stands_built_is_taken_apart(self, cast: Walk) -> None:
        cast.take_back(cast.out(), stays_rigged=True)

        cast.faulty("M1")

        assert cast.state_of("S2") == "ready"
        assert Rig.objects.get().derigged_at == cast.now

    def test_sent_twice_it_is_one_job(self, cast: Walk) -> None:
        key = uuid4()

        def report() -> Job:
            return report_fault(
                actor=cast.ida, item_id=cast.shed["B1"].pk, fault="Grip torn", once=key, now=cast.now
            )

        assert report() == report()
        assert Job.objects.count() == 1

    def test_it_asks_what_is_wrong(self, cast: Walk) -> None:
        with pytest.raises(UnableToMend) as refusal:
            cast.faulty("B1", "  ")

        assert set(refusal.value.fields) == {"fault"}
        assert cast.state_of("B1") == "ready"

    def test_an_item_with_a_rider_is_reported_in_the_return_check(self, cast: Walk) -> None:
        cast.issued()

        with pytest.raises(UnableToMend, match="return check") as refusal:
            cast.faulty("B1")

        assert set(refusal.value.fields) == {"fault"}

    def test_a_withdrawn_item_has_no_new_faults(self, cast: Walk) -> None:
        Item.objects.filter(pk=cast.shed["B1"].pk).update(state="withdrawn")

        with pytest.raises(UnableToMove, match="B1 is withdrawn"):
            cast.faulty("B1")

        assert not Job.objects.exists()


class TestMend:
    def test_a_mended_item_waits_for_its_release(self, cast: Walk) -> None:
        job = cast.mend(cast.faulty("B1"), work=" New clamp ", minutes=25)

        assert (job.state, job.work, job.minutes) == ("mended", "New clamp", 25)
        assert job.mended_by_id == cast.jory.user_id
        assert cast.state_of("B1") == "on_bench"
        assert cast.told("item", cast.shed["B1"].pk)[0] == "Mended: New clamp"

    @pytest.mark.parametrize(
        ("values", "field"),
        [({"work": " "}, "work"), ({"minutes": -1}, "minutes"), ({"minutes": 6001}, "minutes")],
    )
    def test_what_cannot_be_is_said_beside_its_field(
        self, cast: Walk, values: dict[str, Any], field: str
    ) -> None:
        job = cast.faulty("B1")

        with pytest.raises(UnableToMend) as refusal:
            cast.mend(job, **values)

        assert set(refusal.value.fields) == {field}

    def test_minutes_may_be_left_out(self, cast: Walk) -> None:
        assert cast.mend(cast.faulty("B1"), minutes=None).minutes is None

    def test_it_is_mended_once(self, cast: Walk) -> None:
        job = cast.mend(cast.faulty("B1"))

        with pytest.raises(JobMovedOn, match="mended"):
            cast.mend(job)


class TestRelease:
    def test_a_mended_item_is_ready_again(self, cast: Walk) -> None:
        job = cast.release(cast.mend(cast.faulty("B1", "Clamp slips")))

        assert (job.state, job.finished_by_id) == ("released", cast.boss.user_id)
        assert cast.state_of("B1") == "ready"
        assert cast.told("item", cast.shed["B1"].pk)[:2] == ["Released: Clamp slips", "Released into use"]

    @pytest.mark.parametrize("tag", ["M1", "B1", "T1", "X1", "H1", "A1"])
    def test_what_can_hurt_is_released_by_a_second_person(self, cast: Walk, tag: str) -> None:
        job = cast.mend(cast.faulty(tag))

        with pytest.raises(UnableToMend, match="second person"):
            cast.release(job, actor=cast.jory)

        assert cast.state_of(tag) == "on_bench"
        assert cast.release(job).state == "released"

    @pytest.mark.parametrize("tag", ["S1", "D1", "F1", "W1", "C1"])
    def test_other_kinds_may_be_released_by_who_mended_them(self, cast: Walk, tag: str) -> None:
        cast.release(cast.mend(cast.faulty(tag)), actor=cast.jory)

        assert cast.state_of(tag) == "ready"

    def test_not_before_it_is_mended(self, cast: Walk) -> None:
        job = cast.faulty("B1")

        with pytest.raises(JobMovedOn, match="open"):
            cast.release(job)

        assert cast.state_of("B1") == "on_bench"

    @pytest.mark.parametrize("mended", [False, True], ids=["still open", "mended"])
    def test_another_fault_keeps_it_on_the_bench(self, cast: Walk, mended: bool) -> None:
        first, second = cast.mend(cast.faulty("B1", "Clamp slips")), cast.faulty("B1", "Grip torn")
        if mended:
            cast.mend(second)

        cast.release(first)

        assert cast.state_of("B1") == "on_bench"

    def test_the_last_release_gives_it_back(self, cast: Walk) -> None:
        jobs = [cast.mend(cast.faulty("B1", fault)) for fault in ("Clamp slips", "Grip torn")]

        for job in jobs:
            cast.release(job)

        assert cast.state_of("B1") == "ready"


class TestWithdraw:
    def withdraw(self, cast: Walk, tag: str, reason: str = "Cracked through") -> Item:
        return withdraw(actor=cast.boss, item_id=cast.shed[tag].pk, reason=reason, now=cast.now + HOUR)

    def test_its_record_stays(self, cast: Walk) -> None:
        self.withdraw(cast, "M1")

        assert cast.state_of("M1") == "withdrawn"
        assert cast.told("item", cast.shed["M1"].pk) == ["Withdrawn: Cracked through"]

    def test_its_open_jobs_end_with_it(self, cast: Walk) -> None:
        jobs = [cast.faulty("M1"), cast.mend(cast.faulty("M1", "Rattles"))]

        self.withdraw(cast, "M1")

        assert {Job.objects.get(pk=job.pk).state for job in jobs} == {"withdrawn"}

    def test_an_item_lost_at_sea_lets_its_outing_close(self, cast: Walk) -> None:
        outing = cast.out()
        cast.take_back(outing, missing=[cast.shed["F1"]])

        self.withdraw(cast, "F1", "Lost at sea")
        cast.take_back(outing, lines=[])

        assert again(outing).state == "closed"

    def test_it_asks_why(self, cast: Walk) -> None:
        with pytest.raises(UnableToMend) as refusal:
            self.withdraw(cast, "M1", " ")

        assert set(refusal.value.fields) == {"reason"}

    def test_twice_is_refused(self, cast: Walk) -> None:
        self.withdraw(cast, "M1")

        with pytest.raises(UnableToMove, match="M1 is withdrawn"):
            self.withdraw(cast, "M1")
