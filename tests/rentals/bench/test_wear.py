"""Wear: the water time of closed outings on every item, posted once however often and by whomever."""

from datetime import timedelta

import pytest
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rentals.bench.models import Meter, RigWear, WearPosting
from rentals.bench.services import post_rig_wear, post_wear, water_s
from rentals.bookings.models import Outing
from rentals.fleet.models import Item
from rentals.lib.access import System, service
from rentals.stations.models import Station
from rentals.weather.models import Observation, Run
from tests.rentals.walk import DAY, HOUR, MINUTE, Walk, again


def post(cast: Walk, *, most: int = 200) -> int:
    return post_wear(actor=service(System.POST_WEAR), now=cast.now + DAY, most=most)


def closed(cast: Walk, *, after: timedelta = HOUR) -> Outing:
    outing = cast.out()
    cast.land(outing, after=after)
    cast.take_back(outing, after=after)
    return again(outing)


class TestPosting:
    def test_every_item_gets_the_time_that_the_rider_was_afloat(self, cast: Walk) -> None:
        outing = closed(cast, after=75 * MINUTE)

        assert post(cast) == 1

        assert {part.item.water_s for part in cast.kit_of(outing)} == {75 * 60}
        assert cast.told("item", cast.shed["S2"].pk)[0] == "75 min on the water"

    def test_twice_is_once(self, cast: Walk) -> None:
        outing = closed(cast)

        assert (post(cast), post(cast)) == (1, 0)

        assert {part.item.water_s for part in cast.kit_of(outing)} == {3600}

    def test_a_run_that_takes_a_few_leaves_the_rest_for_the_next(self, cast: Walk) -> None:
        closed(cast)
        cast.now += 5 * HOUR
        cast.wren = cast.rider("Bram Sallow", level="advanced")
        later = cast.out(hour=16)
        cast.take_back(later, after=HOUR)

        assert [post(cast, most=1) for _turn in range(3)] == [1, 1, 0]
        assert Item.objects.get(tag="S2").water_s == 7200

    def test_hours_are_neither_made_nor_lost(self, cast: Walk) -> None:
        outing = closed(cast, after=95 * MINUTE)

        post(cast)

        in_items = Item.objects.aggregate(total=Sum("water_s"))["total"]
        posted = WearPosting.objects.aggregate(total=Sum("water_s"))["total"]
        assert in_items == posted == 95 * 60 * len(cast.kit_of(outing))

    def test_what_is_not_over_is_not_posted(self, cast: Walk) -> None:
        cast.out()

        assert post(cast) == 0

    def test_kit_that_never_went_afloat_is_not_worn(self, cast: Walk) -> None:
        cast.take_back(cast.issued())

        assert post(cast) == 0
        assert not Item.objects.filter(water_s__gt=0).exists()

    def test_an_outing_forgotten_for_days_does_not_stop_the_others(self, cast: Walk) -> None:
        closed(cast, after=3 * DAY)
        cast.wren = cast.rider("Bram Sallow", level="advanced")
        cast.now += 4 * DAY
        other = cast.out()
        cast.take_back(other, after=HOUR)

        post(cast)

        assert WearPosting.objects.filter(outing=other).exists()


class TestWeighing:
    def test_an_hour_weighs_by_the_wind_it_blew(self, cast: Walk) -> None:
        """11 m/s at 10 m by the forecast: 11 / 7.5 of an hour (policy of `rigging.wear`)."""
        outing = closed(cast)

        post(cast)

        row = WearPosting.objects.get(outing=outing, item=cast.shed["S2"])
        assert row.wind_ms == pytest.approx(11, rel=0.05)
        assert row.weighted_s == pytest.approx(3600 * 11 / 7.5, rel=0.05)
        assert Meter.objects.get(item=cast.shed["S2"]).weighted_s == row.weighted_s

    def test_an_hour_without_a_known_wind_is_an_hour(self, cast: Walk) -> None:
        closed(cast)
        Run.objects.all().delete()
        Observation.objects.all().delete()

        post(cast)

        assert set(WearPosting.objects.values_list("wind_ms", "weighted_s")) == {(None, 3600)}

    @pytest.mark.parametrize(("salt", "salt_s"), [(True, 3600), (False, 0)], ids=["salt", "fresh"])
    def test_salt_water_is_counted_apart(self, cast: Walk, salt: bool, salt_s: int) -> None:
        Station.objects.filter(pk=cast.tarrow.pk).update(salt_water=salt)
        closed(cast)

        post(cast)

        assert set(Meter.objects.values_list("salt_s", flat=True)) == {salt_s}

    @given(minutes=st.lists(st.integers(1, 600), min_size=1, max_size=4))
    @settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_whatever_the_outings_no_hour_is_made_or_lost(self, cast: Walk, minutes: list[int]) -> None:
        """Sum over items equals sum over outings, in hours, weighed hours and hours in salt water."""
        for each in minutes:
            cast.now += DAY
            cast.wren = cast.rider(f"Out for {each}", level="advanced")
            closed(cast, after=each * MINUTE)
        post(cast)

        outings = Outing.objects.filter(state="closed").prefetch_related("kit")
        expected = sum(water_s(outing) * len(outing.kit.all()) for outing in outings)
        rows = WearPosting.objects.aggregate(total=Sum("water_s"), weighted=Sum("weighted_s"))
        meters = Meter.objects.aggregate(weighted=Sum("weighted_s"), salt=Sum("salt_s"))
        in_items = Item.objects.aggregate(total=Sum("water_s"))["total"]
        assert in_items == rows["total"] == meters["salt"] == expected
        assert meters["weighted"] == rows["weighted"]


def post_rigs(cast: Walk, *, after: timedelta = DAY) -> int:
    return post_rig_wear(actor=service(System.POST_WEAR), now=cast.now + after)


class TestRigs:
    """A July day at 45 degrees north is light from before seven to after nine at night."""

    def test_each_part_of_a_rig_gets_the_daylight_in_which_it_stood(self, cast: Walk) -> None:
        closed(cast, after=2 * HOUR)

        assert post_rigs(cast) == 1

        rows = RigWear.objects.all()
        assert {(row.item.tag, row.sun_s, row.rig_ups) for row in rows} == {
            (tag, 7200, 1) for tag in ("S2", "M1", "B1", "X1", "T1")
        }
        assert set(Meter.objects.filter(sun_s=7200).values_list("item__tag", flat=True)) == {
            row.item.tag for row in rows
        }

    def test_twice_is_once(self, cast: Walk) -> None:
        closed(cast)

        assert (post_rigs(cast), post_rigs(cast)) == (1, 0)

    def test_one_that_stands_is_posted_when_its_day_is_over_and_its_nights_are_dark(self, cast: Walk) -> None:
        cast.take_back(cast.out(), stays_rigged=True)

        today = post_rigs(cast, after=8 * HOUR)
        turns = [post_rigs(cast, after=number * DAY) for number in (1, 1.5, 2, 3)]

        assert (today, turns) == (0, [1, 0, 1, 1])
        sail = RigWear.objects.filter(item__tag="S2").order_by("starts_at")
        assert [row.rig_ups for row in sail] == [1, 0, 0]
        assert [round(row.sun_s / 3600) for row in sail[1:]] == [15, 15]
        assert [row.starts_at for row in sail[1:]] == [row.ends_at for row in sail[:2]]

    def test_rig_ups_posted_are_the_rig_ups_counted(self, cast: Walk) -> None:
        for day in range(3):
            cast.wren = cast.rider(f"Rider {day}", level="advanced")
            closed(cast)
            cast.now += DAY
        post_rigs(cast)

        posted = dict(RigWear.objects.values_list("item").annotate(Sum("rig_ups")))
        assert posted == dict(Item.objects.filter(rig_ups__gt=0).values_list("pk", "rig_ups"))
        assert set(posted.values()) == {3}
