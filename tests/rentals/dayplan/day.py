"""A day to plan at Tarrow Lagoon, and a worker to solve it at once."""

from dataclasses import dataclass
from typing import Any

from rentals.bookings.models import Booking, Outing
from rentals.bookings.services import Contact
from rentals.dayplan import queries, services, tasks
from rentals.dayplan.models import Plan, RigTask
from rentals.lib.access import Actor, System, service
from rentals.people.models import Rider
from rigging.allot.jsonform import to_plan, to_problem
from rigging.allot.plan import Plan as Solved
from rigging.allot.problem import Problem
from tests.rentals.walk import Walk

WORKER = service(System.SOLVE)


@dataclass(frozen=True)
class Day:
    """The cast's day, planned step by step."""

    cast: Walk

    def booked(self, *riders: Rider, **values: Any) -> list[Outing]:
        """Riders booked under a wind for the 5.7, from a shed that serves two."""
        assert self.cast.shed
        self.cast.blow()
        return self.cast.booked(*riders, **values)

    def two(self, **values: Any) -> list[Outing]:
        """Wren and Reed, both advanced and 72 kg, and a second mast and board of the kind they need."""
        assert self.cast.shed
        self.cast.one_more("M9", like="M1")
        self.cast.one_more("D9", like="D1")
        self.cast.one_more("F9", like="F1")
        return self.booked(self.cast.wren, self.reed(), **values)

    def cast_outings(self) -> list[Outing]:
        """Everybody booked."""
        return list(Outing.objects.order_by("pk"))

    def reed(self) -> Rider:
        """One like Wren."""
        return self.cast.rider("Reed Marsh", level="advanced")

    def ask(self, actor: Actor | None = None, **values: Any) -> Plan:
        """Ask for the plan of today."""
        usual: dict[str, Any] = {"day": self.cast.now.date(), "now": self.cast.now}
        return services.ask_for_plan(
            actor=actor or self.cast.jory, station_id=self.cast.tarrow.pk, **{**usual, **values}
        )

    def solved(self, plan: Plan | None = None) -> Plan:
        """A plan as the worker leaves it, asked for unless given."""
        plan = plan or self.ask()
        errand = services.take_plan(actor=WORKER, now=self.cast.now)
        assert errand is not None
        tasks.work_on(WORKER, errand)
        plan.refresh_from_db()
        return plan

    def accept(self, plan: Plan, actor: Actor | None = None, **values: Any) -> Plan:
        """Put a plan in force."""
        return services.accept_plan(
            actor=actor or self.cast.jory, plan_id=plan.pk, **{"now": self.cast.now, **values}
        )

    def accepted(self) -> Plan:
        """A plan in force."""
        return self.accept(self.solved())


def asked(day: Day, *riders: Rider, hour: int = 11, **values: Any) -> queries.Promise:
    """Whether riders like Wren can be served."""
    usual: dict[str, Any] = {
        "kind": "rental",
        "starts_at": day.cast.at(hour),
        "ends_at": day.cast.at(hour + 2),
        "riders": riders or (Rider(mass_kg=72, stature_cm=176, level="advanced"),),
    }
    return queries.promise(day.cast.tarrow, queries.Wish(**{**usual, **values}), now=day.cast.now)


def booked(day: Day, promise: queries.Promise, **values: Any) -> Booking:
    """Reed's booking of a time that was asked for."""
    usual: dict[str, Any] = {
        "actor": day.cast.ida,
        "station_id": day.cast.tarrow.pk,
        "promise": promise,
        "contact": Contact(name="Fern Sedge", phone="555 0101"),
        "kind": "rental",
        "starts_at": day.cast.at(11),
        "ends_at": day.cast.at(13),
        "now": day.cast.now,
    }
    if "riders" not in values:
        usual["riders"] = [day.reed().pk]
    return services.book_promised(**{**usual, **values})


def read(plan: Plan) -> tuple[Problem, Solved]:
    """What a plan was asked and what came of it."""
    problem = to_problem(plan.inputs)
    return problem, to_plan(plan.result, problem)


def rigs(plan: Plan) -> list[RigTask]:
    """The crew's list."""
    return list(RigTask.objects.filter(plan=plan).order_by("place"))
