"""Plan again in mid-day: what is out stays out, promises are kept where they can be, and who must be told."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from rigging.allot.explain import clock
from rigging.allot.plan import Assignment, Plan, Rig
from rigging.allot.problem import DAY_MIN, Crew, Demand, Hold, Problem, Standing
from rigging.allot.solve import SECONDS, Clock, solve
from rigging.units import BadValue, in_range

BROKEN: Final = "broken"


@dataclass(frozen=True, slots=True, kw_only=True)
class News:
    """What has happened by `now_min`.

    `arrived` are new demands, `gone` the ids of riders who don't come, `broken` tags of what may not be
    used again today, `late` the new end by id of who comes back late, `losses` the sails and boards by id
    of the demands for whom the wind has changed.
    """

    now_min: int
    arrived: tuple[Demand, ...] = ()
    gone: frozenset[str] = frozenset()
    broken: frozenset[str] = frozenset()
    late: Mapping[str, int] = field(default_factory=dict)
    losses: Mapping[str, tuple[Mapping[str, float], Mapping[str, float]]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A rider to be told: what they had been told, by stocks of sail and board, and what is so now."""

    demand: str
    before: tuple[str, str] | None
    after: tuple[str, str] | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Replan:
    """The rest of the day: its problem, its plan, whom to tell."""

    problem: Problem
    plan: Plan
    changes: tuple[Change, ...]


def replan(
    problem: Problem, plan: Plan, news: News, seconds: float = SECONDS, clock_s: Clock = lambda: 0.0
) -> Replan:
    """Plan the rest of the day.

    Who is afloat keeps rig and board, finished outings are left out, rigs that stand may be kept or come
    down in the crew's windows to come. A rider whose kit breaks afloat wants other kit from now on.

    Raises:
        BadValue: named by the path of the field, `news.` before it where the news is wrong.
    """
    rest = rest_of_day(problem, plan, news)
    new = solve(rest, seconds, clock_s)
    return Replan(problem=rest, plan=new, changes=tuple(changes(rest, new)))


def rest_of_day(problem: Problem, plan: Plan, news: News) -> Problem:
    """The problem that is left at `news.now_min`."""
    validate_news(problem, news)
    rest = Rest(problem, plan, news)
    demands = tuple(demand for had in problem.demands if (demand := rest.wish(had)) is not None)
    held = [
        h
        for h in problem.frozen
        if h.demand is None and h.end_min > news.now_min and h.tag not in news.broken
    ]
    broken = [
        Hold(tag=tag, start_min=news.now_min, end_min=DAY_MIN, why=BROKEN) for tag in sorted(news.broken)
    ]
    return replace(
        problem,
        crew=crew_after(problem.crew, news.now_min),
        demands=demands + news.arrived,
        frozen=(*held, *broken, *(hold for demand in problem.demands for hold in rest.holds(demand))),
        standing=tuple(rest.standing()),
    )


class Rest:
    """What a plan has come to by now: who is done, afloat or to come, and what stands."""

    def __init__(self, problem: Problem, plan: Plan, news: News) -> None:
        self.problem, self.plan, self.news = problem, plan, news
        self.kit = {assignment.demand: assignment for assignment in plan.assignments}
        self.names = stock_names(problem)
        self.lost = {rig.id for rig in plan.rigs if news.broken.intersection(parts(rig))}

    def end_min(self, demand: Demand) -> int:
        """When the rider comes back, late or not."""
        return self.news.late.get(demand.id, demand.end_min)

    def broke(self, had: Assignment) -> bool:
        """Whether the rider's rig or board has broken."""
        return had.rig in self.lost or had.board in self.news.broken

    def wish(self, demand: Demand) -> Demand | None:
        """What the rider still wants: None when they are done, gone, or were never served in time."""
        now, had = self.news.now_min, self.kit.get(demand.id)
        if (
            demand.id in self.news.gone
            or self.end_min(demand) <= now
            or (had is None and demand.start_min <= now)
        ):
            return None
        wish = replace(demand, end_min=self.end_min(demand), promised=self.told(demand))
        if demand.id in self.news.losses:
            sails, boards = self.news.losses[demand.id]
            wish = replace(wish, sails=sails, boards=boards)
        if had is not None and demand.start_min <= now and self.broke(had):
            # Who stands ashore with a broken rig is no longer bound to the group's going together.
            return replace(wish, start_min=now, group=None)
        return wish

    def told(self, demand: Demand) -> tuple[str, str] | None:
        """Stocks of the sail and the board that the plan gives the rider."""
        had = self.kit.get(demand.id)
        return (self.names[had.sail], self.names[had.board]) if had else None

    def holds(self, demand: Demand) -> Iterator[Hold]:
        """The rig and the board of a rider who is afloat, or just back and in the turn-round."""
        now, had = self.news.now_min, self.kit.get(demand.id)
        if had is None or demand.start_min > now or demand.id in self.news.gone:
            return
        end, turn = self.end_min(demand), self.problem.turn_round_min
        for tag, usable in (
            (had.sail, had.rig not in self.lost),
            (had.board, had.board not in self.news.broken),
        ):
            if end > now and not self.broke(had):
                yield Hold(tag=tag, start_min=demand.start_min, end_min=end, demand=demand.id)
            elif now < end + turn and end <= now and usable:
                yield Hold(tag=tag, start_min=demand.start_min, end_min=end + turn, why="turn-round")

    def standing(self) -> Iterator[Standing]:
        """The rigs that stand whole."""
        now = self.news.now_min
        for rig in self.plan.rigs:
            ready = rig.built_min is None or rig.built_min[1] <= now
            up = rig.until_min is None or rig.until_min > now
            if ready and up and rig.id not in self.lost:
                yield Standing(*parts(rig))


def parts(rig: Rig) -> tuple[str, str, str, str]:
    """The tags of a rig's parts."""
    return rig.sail, rig.mast, rig.extension, rig.boom


def stock_names(problem: Problem) -> dict[str, str]:
    """Name of the stock by tag."""
    return {
        unit.tag: stock.name for _, stocks in problem.stocks() for stock in stocks for unit in stock.units
    }


def crew_after(crew: Crew, now_min: int) -> Crew:
    """The crew's windows from now on."""
    if crew.windows is None:
        return crew
    left = (replace(w, start_min=max(w.start_min, now_min)) for w in crew.windows if w.end_min > now_min)
    return replace(crew, windows=tuple(left))


def validate_news(problem: Problem, news: News) -> None:
    """Refuse news of riders and tags that the problem doesn't know.

    Raises:
        BadValue: named by the field of the news.
    """
    in_range("news.now_min", news.now_min, "min", 0, DAY_MIN)
    known, tags = {demand.id for demand in problem.demands}, problem.tags()
    for name, ids in (("gone", news.gone), ("losses", set(news.losses)), ("late", set(news.late))):
        for unknown in sorted(ids - known):
            raise BadValue(f"news.{name}", unknown, "", "the id of one of the demands")
    for tag in sorted(news.broken - tags.keys()):
        raise BadValue("news.broken", tag, "", "the tag of a unit in the shed")
    for index, demand in enumerate(news.arrived):
        if demand.start_min < news.now_min:
            raise BadValue(f"news.arrived[{index}].start", demand.start_min, "min", "now or later")


def changes(rest: Problem, plan: Plan) -> Iterator[Change]:
    """Who must be told, and what: promises not kept, riders served after all, and who must come in."""
    names = stock_names(rest)
    served = {a.demand: a for a in plan.assignments}
    for demand in rest.demands:
        had = served.get(demand.id)
        after = (names[had.sail], names[had.board]) if had else None
        at = f"{demand.id} at {clock(rest, demand.start_min)}"
        if had is not None and had.issued:
            if after is not None and not (after[0] in demand.sails and after[1] in demand.boards):
                kit = " and ".join(after)
                text = f"{demand.id} is afloat on {kit}, which the wind now rules out: call them in."
                yield Change(demand=demand.id, before=demand.promised, after=after, text=text)
        elif demand.promised is not None and after is None:
            text = f"{at}: can't be served any more."
            yield Change(demand=demand.id, before=demand.promised, after=None, text=text)
        elif demand.promised is not None and after is not None and after != demand.promised:
            text = f"{at}: {' and '.join(_swaps(demand.promised, after))}."
            yield Change(demand=demand.id, before=demand.promised, after=after, text=text)


def _swaps(before: tuple[str, str], after: tuple[str, str]) -> Iterator[str]:
    for kind, old, new in zip(("sail", "board"), before, after, strict=True):
        if old != new:
            yield f"{kind} {new} instead of {old}"
