"""Units from counts: the textbook fact that intervals need no more colours than overlap at once."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rigging.allot.check import violations
from rigging.allot.solve import solve
from tests.rigging.allot import sheds

spans = st.lists(st.tuples(st.integers(0, 20), st.integers(1, 10)), min_size=1, max_size=20)


@given(spans)
@settings(deadline=None, max_examples=40)
def test_it_rigs_as_many_sails_as_riders_are_out_at_once(drawn: list[tuple[int, int]]) -> None:
    """Interval graphs are perfect: colours needed = greatest overlap (a textbook theorem)."""
    riders = [
        sheds.rider(f"d{n}", 9 + s / 4, 9 + (s + d) / 4, sails={5.3: 0.0}) for n, (s, d) in enumerate(drawn)
    ]
    problem = sheds.shed(
        *riders,
        sails=(sheds.sail(5.3, 20),),
        masts=(sheds.mast(430, 20),),
        booms=(sheds.boom(count=20),),
        extensions=(sheds.extension(count=20),),
        boards=(sheds.board(count=20),),
        turn_round_min=0,
    )

    plan = solve(problem)

    quarters = np.zeros(40, dtype=int)
    for start, length in drawn:
        quarters[start : start + length] += 1
    assert violations(problem, plan) == ()
    assert (plan.score.served, plan.score.builds) == (len(drawn), quarters.max())
