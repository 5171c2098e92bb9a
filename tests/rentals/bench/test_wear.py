"""Wear: the water time of closed outings on every item, posted once however often and by whomever."""

from datetime import timedelta

from django.db.models import Sum

from rentals.bench.models import WearPosting
from rentals.bench.services import post_wear
from rentals.bookings.models import Outing
from rentals.fleet.models import Item
from rentals.lib.access import System, service
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
