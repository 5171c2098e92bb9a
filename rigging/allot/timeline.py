"""The day's time: when the crew builds, which rigs may be taken when, and the crowded moments."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigging.allot.problem import DAY_MIN, Crew, Problem

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Seat:
    """Room for one rig in the crew's time: who (from 1), and from when to when."""

    start_min: int
    end_min: int
    hand: int


@dataclass(frozen=True, slots=True)
class Slot:
    """A time of building, [start, end). `seats` is None when the crew's time is not limited."""

    start_min: int
    end_min: int
    seats: tuple[Seat, ...] | None


@dataclass(frozen=True, slots=True)
class Segment:
    """A span of the day in which the same rigs can be taken: those kept through, or standing after, a slot.

    `slot` is -1 before the first slot; `building` says that the crew is at work on that slot's rigs.
    """

    start_min: int
    end_min: int
    slot: int
    building: bool


def slots(problem: Problem) -> tuple[Slot, ...]:
    """The crew's windows as slots; windows with nobody afloat from the first to the last are one slot."""
    if not problem.crew.windows:
        return (Slot(-1, -1, None if problem.crew.windows is None else ()),)
    out: list[Slot] = []
    for window in problem.crew.windows:
        seats = _seats(problem.crew, window.start_min, window.end_min, window.hands)
        before = out[-1] if out else None
        if before and before.seats is not None and _quiet(problem, before.start_min, window.end_min):
            out[-1] = Slot(before.start_min, window.end_min, before.seats + seats)
        else:
            out.append(Slot(window.start_min, window.end_min, seats))
    return tuple(out)


def _seats(crew: Crew, start_min: int, end_min: int, hands: int) -> tuple[Seat, ...]:
    starts = range(start_min, end_min - crew.rig_min + 1, crew.rig_min)
    return tuple(Seat(at, at + crew.rig_min, hand + 1) for at in starts for hand in range(hands))


def _quiet(problem: Problem, start_min: int, end_min: int) -> bool:
    turn = problem.turn_round_min
    spans = [(d.start_min, d.end_min) for d in problem.demands] + [
        (h.start_min, h.end_min) for h in problem.frozen
    ]
    return not any(start < end_min and end + turn > start_min for start, end in spans)


def segments(times: Sequence[Slot]) -> tuple[Segment, ...]:
    """The whole day cut where the rigs that can be taken change."""
    out = [Segment(-DAY_MIN, times[0].start_min, -1, building=False)]
    for index, slot in enumerate(times):
        after = times[index + 1].start_min if index + 1 < len(times) else 2 * DAY_MIN
        out.append(Segment(slot.start_min, slot.end_min, index, building=True))
        out.append(Segment(slot.end_min, after, index, building=False))
    return tuple(segment for segment in out if segment.end_min > segment.start_min)


def peaks(starts: Ints, ends: Ints) -> Ints:
    """Moments at which sets of spans [start, end) that can't grow are all under way.

    Spans overlap in a clique exactly when they share a moment; every clique is within one of these.
    """
    if not starts.size:
        return np.empty(0, dtype=np.int64)
    begins = np.unique(starts)
    first_end = np.searchsorted(np.unique(ends), begins, side="right")
    # A start is a peak when some span ends before the next start comes.
    last_of_run = np.append(first_end[1:] != first_end[:-1], True)
    return np.asarray(begins[last_of_run], dtype=np.int64)
