"""A study of what the shed lacked as steps that are kept between the worker's turns."""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Final

from rigging.allot.jsonform import Json, to_problem
from rigging.allot.lacks import Gain, Lacks, Look, Wanted, gain, look, summed, to_try
from rigging.allot.problem import Problem

STEP_S: Final = 2.0
"""Time limit of one day's solution in a study. Status: policy."""

BETWEEN: Final = "|"


class StudyWork:
    """The steps done and the next one: first every day as it was, then each purchase that may matter."""

    def __init__(self, forms: Mapping[str, Json], looks: Json, gains: Json) -> None:
        self._forms, self._problems = forms, dict[str, Problem]()
        self._looks = {day: _to_look(kept) for day, kept in looks.items()}
        self._gains: dict[Wanted, dict[str, Gain]] = {
            _to_wanted(key): {day: Gain(**kept) for day, kept in by_day.items()}
            for key, by_day in gains.items()
        }

    def step(self, clock: Callable[[], float]) -> bool:
        """Do the next step; False when there is none."""
        for day in self._forms:
            if day not in self._looks:
                self._looks[day] = look(self._problem(day), STEP_S, clock)
                return True
        for wanted, days in to_try(self._looks).items():
            done = self._gains.setdefault(wanted, {})
            for day in days:
                if day not in done:
                    done[day] = gain(self._problem(day), wanted, self._looks[day], STEP_S, clock)
                    return True
        return False

    @property
    def progress(self) -> int:
        """How far, in percent: looking at a day and trying a purchase on it count alike."""
        tried = sum(map(len, to_try(self._looks).values())) if len(self._looks) == len(self._forms) else 0
        done = len(self._looks) + sum(map(len, self._gains.values()))
        return 100 * done // max(len(self._forms) + (tried or 5 * len(self._forms)), 1)

    @property
    def found(self) -> Lacks:
        """What the steps done amount to."""
        return summed(self._looks, self._gains)

    def looks(self) -> Json:
        """Days looked at, to keep."""
        return {day: asdict(seen) for day, seen in self._looks.items()}

    def gains(self) -> Json:
        """Purchases tried, to keep."""
        return {
            BETWEEN.join(wanted): {day: asdict(each) for day, each in by_day.items()}
            for wanted, by_day in self._gains.items()
        }

    def _problem(self, day: str) -> Problem:
        if day not in self._problems:
            self._problems[day] = to_problem(self._forms[day])
        return self._problems[day]


def _to_look(kept: Json) -> Look:
    at_most = tuple((kind, name, most) for kind, name, most in kept["at_most"])
    return Look(**{**kept, "at_most": at_most, "new": tuple((kind, name) for kind, name in kept["new"])})


def _to_wanted(key: str) -> Wanted:
    kind, name = key.split(BETWEEN, 1)
    return kind, name
