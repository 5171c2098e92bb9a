"""A day far too big for one page: a real plan of two riders, drawn out to as many as wanted."""

from copy import deepcopy
from dataclasses import dataclass
from datetime import datetime, timedelta

from rentals.bookings.models import Outing
from rentals.dayplan.models import Plan, RigTask
from rentals.fleet.models import RIG_PARTS, Item, Kind
from rigging.allot.jsonform import Json, to_plan, to_problem
from tests.rentals.dayplan.day import Day

PARTY = 20
AT_ONCE = 60
FIRST_HOUR = 11
STOCKED = {
    Kind.SAIL: "sails",
    Kind.MAST: "masts",
    Kind.BOOM: "booms",
    Kind.EXTENSION: "extensions",
    Kind.BOARD: "boards",
}


@dataclass(frozen=True)
class Crowd:
    """A plan, its riders by time, and the crew's list in order."""

    plan: Plan
    outings: list[Outing]
    tasks: list[RigTask]

    @property
    def served(self) -> list[Outing]:
        """Who gets a rig."""
        return self.outings[: len(self.tasks)]

    @property
    def short(self) -> list[Outing]:
        """Who gets none."""
        return self.outings[len(self.tasks) :]


def crowd(
    day: Day, riders: int, *, short: int = 0, state: str = "accepted", has_a_wrong_sail: int | None = None
) -> Crowd:
    """Plan riders of whom each has a rig to himself, and some more who go short; sixty start every hour."""
    day.two(hour=18, hours=1)
    model = day.solved()
    assert model.result is not None
    Plan.objects.filter(pk=model.pk).update(state="superseded")
    outings = _booked(day, riders + short)
    kit = _shed(day, riders)
    inputs = deepcopy(model.inputs)
    wish = inputs["demands"][0]
    inputs["demands"] = [{**wish, "id": str(outing.pk), **_span(outing)} for outing in outings]
    for kind, stock in STOCKED.items():
        named = next(each for each in inputs[stock] if each["name"] == kit[kind][0].model.name)
        named["units"] += [{"tag": item.tag, "wear_h": 0.0} for item in kit[kind]]
    result = {
        **model.result,
        "assignments": [_gives(model.result, outing, kit, n) for n, outing in enumerate(outings[:riders])],
        "rigs": [_rig(model.result, outing, kit, n) for n, outing in enumerate(outings[:riders])],
        "rig_up": [f"rig {n}" for n in range(riders)],
        "unserved": [_goes_short(outing) for outing in outings[riders:]],
    }
    if has_a_wrong_sail is not None:
        inputs["demands"][has_a_wrong_sail]["sails"] = {"Thrift 4.5": 0.1}
        result["assignments"][has_a_wrong_sail]["issued"] = True
    to_plan(result, to_problem(inputs))
    accepted = {"accepted_at": day.cast.now, "accepted_by": day.cast.manager} if state == "accepted" else {}
    plan = Plan.objects.create(
        station=day.cast.tarrow, day=day.cast.now.date(), number=2, state=state, inputs=inputs, result=result,
        formulas=model.formulas, asked_at=day.cast.now, solved_at=day.cast.now, proven=True, seconds=1.0,
        served=riders, unserved=short, **accepted,
    )  # fmt: skip
    tasks = _listed(plan, result["rigs"], kit) if state == "accepted" else []
    return Crowd(plan, outings, tasks)


def name(number: int) -> str:
    """A name as long as many are."""
    return f"Rider {number:03} Bartholomew-Featherstone"


def _booked(day: Day, count: int) -> list[Outing]:
    found: list[Outing] = []
    for first in range(0, count, PARTY):
        numbers = range(first, min(first + PARTY, count))
        riders = [day.cast.rider(name(number), level="advanced") for number in numbers]
        found += day.cast.booked(*riders, hour=FIRST_HOUR + first // AT_ONCE, hours=1)
    return found


def _shed(day: Day, count: int) -> dict[Kind, list[Item]]:
    models = {
        kind: day.cast.shed[tag].model
        for kind, tag in zip((*RIG_PARTS, Kind.BOARD), ("S2", "M1", "B1", "X1", "T1", "D1"), strict=True)
    }
    return {
        kind: Item.objects.bulk_create(
            Item(station=day.cast.tarrow, model=model, tag=f"{kind.value[:3].upper()}{number}")
            for number in range(1000, 1000 + count)
        )
        for kind, model in models.items()
    }


def _span(outing: Outing) -> Json:
    return {"start": outing.starts_at.isoformat(), "end": outing.ends_at.isoformat()}


def _gives(result: Json, outing: Outing, kit: dict[Kind, list[Item]], number: int) -> Json:
    given = {"sail": kit[Kind.SAIL][number].tag, "board": kit[Kind.BOARD][number].tag}
    return {**result["assignments"][0], "demand": str(outing.pk), "rig": f"rig {number}", **given}


def _rig(result: Json, outing: Outing, kit: dict[Kind, list[Item]], number: int) -> Json:
    tags = {kind.value: kit[kind][number].tag for kind in RIG_PARTS if kind is not Kind.BASE}
    start, due = _built(outing.starts_at)
    times = {"needed": outing.starts_at.isoformat(), "built": [start.isoformat(), due.isoformat()]}
    return {**result["rigs"][0], "id": f"rig {number}", "stood": False, **tags, **times}


def _built(needed_at: datetime) -> tuple[datetime, datetime]:
    return needed_at - timedelta(minutes=40), needed_at - timedelta(minutes=20)


def _goes_short(outing: Outing) -> Json:
    reason = {"text": "All sails that are safe are with others.", "rule": "allot", "source": "", "inputs": []}
    return {"demand": str(outing.pk), "reason": {**reason, "source": "ours"}, "remedy": "one more mast"}


def _listed(plan: Plan, built: list[Json], kit: dict[Kind, list[Item]]) -> list[RigTask]:
    needed = [datetime.fromisoformat(rig["needed"]) for rig in built]
    return RigTask.objects.bulk_create(
        RigTask(
            plan=plan,
            place=number + 1,
            needed_at=at,
            **dict(zip(("starts_at", "due_at"), _built(at), strict=True)),
            **{kind.value: kit[kind][number] for kind in RIG_PARTS},
        )
        for number, at in enumerate(needed)
    )
