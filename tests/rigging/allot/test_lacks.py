"""What to buy: one unit more, valued by solving the days again."""

from dataclasses import replace

import pytest

from rigging.allot.lacks import lacks, with_one_more
from rigging.allot.solve import solve
from tests.rigging.allot import instances, sheds


def test_it_names_the_mast_that_two_riders_lack() -> None:
    riders = [sheds.rider(f"d{n}", sails={5.3: 0.0}) for n in range(2)]
    day = sheds.shed(*riders, sails=(sheds.sail(5.3, 2),))

    (best, *others) = lacks({"Tuesday": day, "Wednesday": day}).purchases

    assert (best.kind, best.name, best.riders, best.points) == ("masts", "reed 430", 2, 10)
    assert all(purchase.points == 0 for purchase in others)


def test_it_values_a_sail_that_the_shed_does_not_have_yet() -> None:
    rider = sheds.rider("d", sails={4.2: 0.0})
    day = sheds.shed(rider, sails=(sheds.sail(5.3), sheds.sail(4.2, 0)), masts=(sheds.mast(400),))

    assert lacks({"Tuesday": day}).purchases[0].name == "thrift 4.2"


def test_it_counts_mismatch_saved_where_nobody_more_is_served() -> None:
    riders = [sheds.rider(f"d{n}", sails={5.3: 0.0, 4.2: 0.4}) for n in range(2)]
    day = sheds.shed(
        *riders, sails=(sheds.sail(5.3), sheds.sail(4.2)), masts=(sheds.mast(430, 2), sheds.mast(400))
    )

    best = lacks({"Tuesday": day}).purchases[0]

    assert (best.name, best.points, best.mismatch, best.days) == ("thrift 5.3", 0, 40, ("Tuesday",))


@pytest.mark.parametrize("seed", range(2))
def test_it_leaves_out_no_purchase_that_gains_more_than_it_says(seed: int) -> None:
    """Every stock's gain is solved anew; those left out stay under the stated most."""
    day = instances.day(replace(instances.SMALL, riders=24, sails=16, masts=0.5, boards=0.3), seed)
    short = solve(day).score.points_short
    stocks = [(kind, stock.name) for kind, group in day.stocks() for stock in group]

    found = lacks({"day": day}, top=4)

    stated = {(p.kind, p.name): p.points for p in found.purchases}
    for wanted in stocks:
        gain = short - solve(with_one_more(day, *wanted)).score.points_short
        assert gain == stated[wanted] if wanted in stated else gain <= found.others_points
