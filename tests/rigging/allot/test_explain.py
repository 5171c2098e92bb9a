"""Why a rider goes short: the reason in words, and a remedy that would really serve them."""

import re
from dataclasses import replace
from typing import Any

import pytest

from rigging.allot.lacks import with_one_more
from rigging.allot.plan import Unserved
from rigging.allot.problem import Crew, Hold, Problem, Standing, Window
from rigging.allot.solve import solve
from tests.rigging.allot import instances, sheds

MORE = re.compile(r"(one|\d+) more (.+?) (sail|mast|boom|extension|board)\b")

RIDER = sheds.rider("d", sails={5.3: 0.0})


def short(problem: Problem) -> Unserved:
    (rider,) = solve(problem).unserved
    return rider


def two(**changes: Any) -> Problem:
    """Two riders at once over parts for two, except what is changed."""
    riders = [sheds.rider(f"d{n}", 11, 13, sails={5.3: 0.0}) for n in range(2)]
    return sheds.shed(*riders, **({"sails": (sheds.sail(5.3, 2),), "masts": (sheds.mast(430, 2),)} | changes))


@pytest.mark.parametrize(
    ("changes", "remedy"),
    [
        ({"masts": (sheds.mast(430),)}, "one more reed 430 mast before 11:00"),
        ({"sails": (sheds.sail(5.3),)}, "one more thrift 5.3 sail before 11:00"),
        ({"booms": (sheds.boom(count=1),)}, "one more rush 140 boom before 11:00"),
        ({"extensions": (sheds.extension(count=1),)}, "one more sedge 46 extension before 11:00"),
        ({"boards": (sheds.board(count=1),)}, "one more marram 110 board before 11:00"),
        (
            {"crew": Crew(rig_min=20, windows=(Window(540, 560, 1),))},
            "20 more minutes of the crew before 11:00",
        ),
        (
            {"masts": (sheds.mast(430),), "sails": (sheds.sail(5.3),)},
            "one more reed 430 mast and one more thrift 5.3 sail before 11:00",
        ),
    ],
    ids=["mast", "sail", "boom", "extension", "board", "crew", "mast and sail"],
)
def test_it_names_the_cheapest_thing_that_would_serve_the_rider(changes: dict[str, Any], remedy: str) -> None:
    assert short(two(**changes)).remedy == remedy


def test_it_prefers_a_cheap_part_to_a_dear_one() -> None:
    """One more mast for the sail that lies useless, rather than one more sail and mast of another size."""
    riders = [sheds.rider(f"d{n}", 11, 13, sails={5.3: 0.0, 6.2: 0.0}) for n in range(2)]
    problem = sheds.shed(*riders, sails=(sheds.sail(5.3, 2), sheds.sail(6.2, 0)))

    assert short(problem).remedy == "one more reed 430 mast before 11:00"


def test_it_counts_what_a_whole_group_lacks() -> None:
    group = [sheds.rider(f"d{n}", 11, 13, sails={5.3: 0.0}, group="g") for n in range(3)]

    first, *_ = solve(sheds.shed(*group, sails=(sheds.sail(5.3, 3),))).unserved

    assert first.remedy == "2 more reed 430 mast before 11:00"


@pytest.mark.parametrize(
    ("problem", "words"),
    [
        (sheds.shed(sheds.rider("d", sails={})), "safety is never traded"),
        (sheds.shed(replace(RIDER, boards={})), "No board of the shed is safe for 75 kg"),
        (sheds.shed(RIDER, masts=()), "has a mast, extension and boom"),
        (sheds.shed(RIDER, boards=(sheds.board(most_m2=4.0),)), "carries a sail that suits"),
        (
            sheds.shed(sheds.rider("d", 8, 9, sails={5.3: 0.0}), crew=Crew(windows=(Window(480, 540, 1),))),
            "The outing starts at 08:00; no rig is ready before 09:00.",
        ),
    ],
    ids=["no sail", "no board", "no parts", "no board for the sail", "too early"],
)
def test_it_says_what_bars_a_rider_whom_no_number_of_units_serves(problem: Problem, words: str) -> None:
    rider = short(problem)

    assert words in rider.reason.text
    assert rider.remedy is None


@pytest.mark.parametrize("seed", range(8))
def test_its_remedy_serves_one_rider_more(seed: int) -> None:
    problem = instances.day(replace(instances.SMALL, masts=0.25, boards=0.2), seed)
    plan = solve(problem)
    with_remedy = [rider for rider in plan.unserved if rider.remedy]
    kinds = {"sail": "sails", "mast": "masts", "boom": "booms", "extension": "extensions", "board": "boards"}

    for rider in with_remedy[:3]:
        more = problem
        for count, name, part in MORE.findall(rider.remedy or ""):
            assert count == "one"
            more = with_one_more(more, kinds[part], name)
        points = {demand.id: demand.points for demand in problem.demands}
        assert solve(more).score.points_short <= plan.score.points_short - points[rider.demand]

    assert with_remedy


def test_it_tells_who_comes_too_early_that_no_rig_is_free() -> None:
    """The one rig that suits is out with another until noon, and the crew builds at two."""
    out = [Hold(tag=tag, start_min=600, end_min=720, demand="first") for tag in ("S5.3-1", "D110-1")]
    problem = sheds.shed(
        sheds.rider("first", sails={5.3: 0.0}),
        sheds.rider("d", 11, 12, sails={5.3: 0.0}),
        crew=Crew(15, (Window(840, 900, 2),)),
        standing=(Standing(sail="S5.3-1", mast="M430-1", extension="X46-1", boom="B140-1"),),
        frozen=tuple(out),
    )

    (short,) = solve(problem).unserved

    assert "none can be built before the start" in short.reason.text
