"""What a plan is worth: the objective in its strict order, counted from who gets what."""

from collections.abc import Iterable, Mapping, Sequence

from rigging.allot.colour import Ride, Standing
from rigging.allot.model import Model
from rigging.allot.plan import Assignment, Rig, Score
from rigging.allot.problem import Problem


def assigned(model: Model, ride: Ride, rig: Rig, board: str) -> Assignment:
    """A ride as the plan states it."""
    problem = model.problem
    demand = problem.demands[ride.demand]
    sail, stock = problem.sails[ride.sail].name, problem.boards[ride.board].name
    return Assignment(
        demand=demand.id,
        sail=rig.sail,
        board=board,
        rig=rig.id,
        mismatch=demand.loss(sail, stock),
        change=demand.change(sail, stock),
    )


def issued(problem: Problem, rigs: Iterable[Standing], listed: Mapping[int, Rig]) -> list[Assignment]:
    """The outings that frozen holds say are out already."""
    tags = problem.tags()
    rig_of = {rig.tags["sails"]: listed[n].id for n, rig in enumerate(rigs) if listed[n].stood}
    held: dict[str, dict[str, str]] = {}
    for hold in problem.frozen:
        if hold.demand is not None:
            held.setdefault(hold.demand, {})[tags[hold.tag][0]] = hold.tag
    return [
        Assignment(
            demand=demand,
            sail=of["sails"],
            board=of["boards"],
            rig=rig_of[of["sails"]],
            mismatch=0,
            issued=True,
        )
        for demand, of in held.items()
    ]


def scored(model: Model, assignments: Sequence[Assignment], builds: int) -> Score:
    """The score of the riders whom the plan serves; who is issued already costs nothing."""
    served = {a.demand for a in assignments}
    short = sum(d.points for d in model.problem.demands if d.id not in served)
    mismatch, change = sum(a.mismatch for a in assignments), sum(a.change for a in assignments)
    return Score(
        served=len(served),
        points_short=short,
        mismatch=mismatch,
        change=change,
        builds=builds,
        crew_min=builds * model.problem.crew.rig_min,
        value=model.weights.point * short + mismatch + change + model.weights.build * builds,
    )
