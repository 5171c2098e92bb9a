"""Crowds: the peaks of a day and the greatest number at once."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from rigging.allot.timeline import peaks

spans = st.lists(
    st.tuples(st.integers(0, 40), st.integers(1, 20)).map(lambda s: (s[0], s[0] + s[1])),
    min_size=1,
    max_size=25,
)


def under_way(all_spans: list[tuple[int, int]], minute: int) -> frozenset[int]:
    return frozenset(n for n, (start, end) in enumerate(all_spans) if start <= minute < end)


def sets_at_peaks(all_spans: list[tuple[int, int]]) -> list[frozenset[int]]:
    starts, ends = np.array(all_spans).T
    return [under_way(all_spans, minute) for minute in peaks(starts, ends).tolist()]


@given(spans)
def test_it_finds_a_peak_over_every_moment(all_spans: list[tuple[int, int]]) -> None:
    found = sets_at_peaks(all_spans)

    assert all(any(under_way(all_spans, minute) <= peak for peak in found) for minute in range(61))


@given(spans)
def test_no_peak_lies_within_another(all_spans: list[tuple[int, int]]) -> None:
    found = sets_at_peaks(all_spans)

    assert not any(one <= other for n, one in enumerate(found) for m, other in enumerate(found) if n != m)
