"""May this party be promised? The day with and without them, in each wind that may come."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from rigging.allot.plan import Plan, Unserved
from rigging.allot.problem import Demand, Problem
from rigging.allot.solve import SECONDS, Clock, solve
from rigging.units import BadValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """One wind: the riders of the party who would go short and of what; none when all are served.

    `sure` says that it is proven: no plan serves more. A party that is served is always sure of it.
    """

    wind: str
    short: tuple[Unserved, ...]
    sure: bool
    plan: Plan

    @property
    def served(self) -> bool:
        return not self.short


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """What may be told a party. Staff may override with a reason; a booking from home may not."""

    outlooks: tuple[Outlook, ...]

    @property
    def holds(self) -> bool:
        """Whether the party is served in every wind."""
        return all(outlook.served for outlook in self.outlooks)

    @property
    def text(self) -> str:
        """The answer as a sentence."""
        if self.holds:
            return f"Served in every wind looked at: {', '.join(o.wind for o in self.outlooks)}."
        return " ".join(_sentence(outlook) for outlook in self.outlooks if not outlook.served)


def promise(
    winds: Mapping[str, Problem], party: frozenset[str], seconds: float = SECONDS, clock: Clock = lambda: 0.0
) -> Promise:
    """Whether the demands named by `party` can be served in each wind without displacing anybody.

    Args:
        winds: by name of the wind (light, middle, strong) the day with every booking and the party in it;
            the days differ in the losses and vetoes that the wind makes.
        party: ids of the demands that ask.
        seconds: time limit for all winds together.

    Raises:
        BadValue: for a party that a day doesn't know, and whatever is wrong in a day.
    """
    outlooks = []
    for wind, problem in winds.items():
        for unknown in sorted(party - {demand.id for demand in problem.demands}):
            raise BadValue("party", unknown, "", f"the id of one of the demands in the {wind} wind")
        plan = solve(_booked_first(problem, party), seconds / len(winds), clock, points_only=True)
        short = tuple(rider for rider in plan.unserved if rider.demand in party)
        outlooks.append(Outlook(wind=wind, short=short, sure=not short or plan.points_open == 0, plan=plan))
    return Promise(outlooks=tuple(outlooks))


def _booked_first(problem: Problem, party: frozenset[str]) -> Problem:
    return replace(problem, demands=tuple(_firm(demand, party) for demand in problem.demands))


def _firm(demand: Demand, party: frozenset[str]) -> Demand:
    return demand if demand.id in party else replace(demand, firm=True)


def _sentence(outlook: Outlook) -> str:
    words = "; ".join(f"{rider.demand}: {rider.remedy or rider.reason.text}" for rider in outlook.short)
    hedge = "" if outlook.sure else " (not proven in the time given)"
    return f"In {outlook.wind} wind {len(outlook.short)} would go short{hedge}: {words}."
