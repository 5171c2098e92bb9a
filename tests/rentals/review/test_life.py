"""Life: each item's age at its faults, what its model's records say, and silence where they are too few."""

from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from rentals.fleet.models import Item
from rentals.lib.problems import NotAllowed, NotVisible
from rentals.review.mapping.life import ItemRecord, ModelLife, lives
from rentals.review.models import ModelCost
from rentals.review.queries.life import kit_life, kit_lives
from tests.rentals.review.past import broke, sailed, used
from tests.rentals.walk import DAY, HOUR, Walk


def life_of(cast: Walk, tag: str) -> ModelLife:
    return kit_life(cast.boss, cast.tarrow, cast.shed[tag].model_id, now=cast.now)


def stretches(cast: Walk, tag: str) -> list[tuple[float, bool, float]]:
    (record,) = [each for each in life_of(cast, tag).records if each.item.tag == tag]
    return [(round(end, 3), failed, round(entry, 3)) for end, failed, entry in record.stretches()]


class TestRecords:
    def test_a_sail_goes_on_at_its_age_after_a_mend(self, cast: Walk) -> None:
        used(cast, cast.shed["S1"], hours=[1, 2, 1.5, 1], faults_after=[2])

        assert stretches(cast, "S1") == [(3.0, True, 0.0), (5.5, False, 3.0)]

    def test_a_base_is_as_new_after_a_mend(self, cast: Walk) -> None:
        used(cast, cast.shed["T1"], hours=[1, 2, 1.5, 1], faults_after=[2])

        assert stretches(cast, "T1") == [(3.0, True, 0.0), (2.5, False, 0.0)]

    def test_two_faults_of_one_outing_are_one_failure(self, cast: Walk) -> None:
        used(cast, cast.shed["S1"], hours=[1, 1])
        for fault in ("Torn", "Batten broken"):
            broke(cast.shed["S1"], at=cast.now - DAY + HOUR, fault=fault)

        assert stretches(cast, "S1") == [(2.0, True, 0.0)]

    def test_a_fault_of_an_unused_item_says_nothing_of_wear(self, cast: Walk) -> None:
        broke(cast.shed["S1"], at=cast.now - 9 * DAY)
        used(cast, cast.shed["S1"], hours=[2])

        assert stretches(cast, "S1") == [(2.0, False, 0.0)]

    def test_hours_from_before_the_postings_are_an_age_at_which_watching_began(self, cast: Walk) -> None:
        Item.objects.filter(pk=cast.shed["S1"].pk).update(water_s=100 * 3600)
        cast.shed["S1"].refresh_from_db()
        used(cast, cast.shed["S1"], hours=[2, 3], faults_after=[1])

        assert stretches(cast, "S1") == [(102.0, True, 100.0), (105.0, False, 102.0)]

    def test_the_year_counts_what_was_sailed_in_it(self, cast: Walk) -> None:
        sailed(cast, [cast.shed["S1"]], at=cast.now - 400 * DAY, hours=5)
        sailed(cast, [cast.shed["S1"]], at=cast.now - 300 * DAY, hours=3)

        assert life_of(cast, "S1").season_h == 3.0


class TestSilence:
    def test_two_faults_of_a_kind_are_too_few(self, cast: Walk) -> None:
        used(cast, cast.shed["S1"], hours=[1, 2, 1], faults_after=[1, 2])

        found = life_of(cast, "S1")

        assert (found.life, found.half_by, found.expected, found.reasons()) == (None, None, None, ())
        assert found.silent == (
            "Too few to say: 2 faults in 3 records of this kind (sail); 3 faults are the least."
        )

    def test_a_kind_with_three_speaks_of_all_its_models_and_says_what_is_borrowed(self, cast: Walk) -> None:
        used(cast, cast.shed["S1"], hours=[1, 2, 1, 1], faults_after=[1, 2, 3])
        used(cast, cast.shed["S3"], hours=[2])

        found = life_of(cast, "S3")

        assert found.half_by is not None
        assert "No failures in 1 records, 100% borrowed from like models" in found.half_by.reason.text

    def test_a_model_without_hours_says_so(self, cast: Walk) -> None:
        assert life_of(cast, "S1").silent == "No hours on the water are on record yet."

    def test_without_costs_there_is_no_age_of_replacement(self, cast: Walk) -> None:
        used(cast, cast.shed["S1"], hours=[1, 2, 1, 1], faults_after=[1, 2, 3])

        assert life_of(cast, "S1").replacement is None


class TestFigures:
    def test_each_figure_says_how_many_records_it_rests_on(self, cast: Walk) -> None:
        used(cast, cast.shed["S1"], hours=[1, 2, 1, 1], faults_after=[1, 2, 3])
        cost(cast, "S1")

        found = life_of(cast, "S1").reasons()

        assert len(found) == 4
        assert all({"records", "shape"} & {each.name for each in reason.inputs} for reason in found)

    def test_a_withdrawn_item_keeps_its_record_but_expects_nothing(self, cast: Walk) -> None:
        used(cast, cast.shed["S1"], hours=[1, 2, 1, 1], faults_after=[1, 2, 3])
        Item.objects.filter(pk=cast.shed["S1"].pk).update(state="withdrawn")

        found = life_of(cast, "S1")

        assert (found.failures, found.expected, list(found.outlooks())) == (3, None, [])

    def test_the_oldest_item_comes_first(self, cast: Walk) -> None:
        used(cast, cast.shed["B1"], hours=[1, 2, 1, 1], faults_after=[1, 2, 3])
        used(cast, cast.shed["B2"], hours=[8])

        assert [one.record.item.tag for one in life_of(cast, "B1").outlooks()] == ["B2", "B1"]

    def test_an_item_past_the_age_of_retirement_is_marked(self, cast: Walk) -> None:
        used(cast, cast.shed["B1"], hours=[4, 2, 0.5, 0.5, 0.5, 0.5], faults_after=[2, 3, 4, 5, 6])
        used(cast, cast.shed["B2"], hours=[0.5])
        cost(cast, "B1", new=Decimal(1), fault=Decimal(500))

        assert [one.past_age for one in life_of(cast, "B1").outlooks()] == [True, False]


class TestWhoMayLook:
    def test_the_desk_may_not(self, cast: Walk) -> None:
        with pytest.raises(NotAllowed):
            kit_lives(cast.ida, cast.tarrow, now=cast.now)

    def test_from_elsewhere_there_is_nothing_here(self, cast: Walk) -> None:
        with pytest.raises(NotVisible):
            kit_lives(cast.rhys, cast.tarrow, now=cast.now)

    def test_a_model_that_is_not_in_the_shed_is_not_there(self, cast: Walk) -> None:
        with pytest.raises(NotVisible, match="no such model"):
            kit_life(cast.boss, cast.tarrow, 0, now=cast.now)

    def test_it_takes_six_queries_however_many_records(self, cast: Walk) -> None:
        for tag in ("S1", "S2", "B1"):
            used(cast, cast.shed[tag], hours=[1, 2, 1, 1], faults_after=[1, 2, 3])
        actor = cast.boss

        with CaptureQueriesContext(connection) as queries:
            kit_lives(actor, cast.tarrow, now=cast.now)

        assert len(queries) == 6


def cost(cast: Walk, tag: str, new: Decimal = Decimal(400), fault: Decimal = Decimal(60)) -> ModelCost:
    return ModelCost.objects.create(
        station=cast.tarrow, model=cast.shed[tag].model, new_cost=new, fault_cost=fault
    )


def test_a_simulated_shed_is_found_within_its_limits_95_times_in_100(cast: Walk) -> None:
    # 400 seeded sheds of 10 booms, mended and going on at their age: faults follow (age / 120 h) ** 1.8;
    # 95 % with a sampling error of 1.1 %
    item, caught = cast.shed["B1"], np.zeros(2)
    for seed in range(400):
        rng = np.random.default_rng(seed)
        (found,) = lives([booms(rng, item, until) for until in rng.uniform(20, 300, 10)], {})
        assert found.life is not None
        limits = (found.life.shape_limits(), found.life.scale_limits_h())
        caught += [low <= true <= high for true, (low, high) in zip((1.8, 120.0), limits, strict=True)]

    assert caught / 400 == pytest.approx(0.95, abs=0.033)


def booms(rng: np.random.Generator, item: Item, until: float) -> ItemRecord:
    faults = 120 * rng.exponential(size=30).cumsum() ** (1 / 1.8)
    return ItemRecord(
        item=item, first_h=0.0, hours=until, year_h=until, faults_h=tuple(faults[faults < until].tolist())
    )


def test_ages_are_those_of_the_moment_of_the_fault(cast: Walk) -> None:
    sail = cast.shed["S1"]
    sailed(cast, [sail], at=cast.now - timedelta(days=3), hours=2)
    broke(sail, at=cast.now - timedelta(days=2))
    sailed(cast, [sail], at=cast.now - timedelta(days=1), hours=1)

    assert stretches(cast, "S1") == [(2.0, True, 0.0), (3.0, False, 2.0)]
