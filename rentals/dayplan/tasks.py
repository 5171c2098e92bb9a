"""The worker's turn at day plans, and at studies of what the shed lacks."""

from time import perf_counter
from typing import Final

from celery import shared_task

from rentals.dayplan import queries, services
from rentals.dayplan.mapping.study import StudyWork
from rentals.lib import clock
from rentals.lib.access import Actor, System, service
from rigging.allot.check import violations
from rigging.allot.jsonform import to_problem
from rigging.allot.solve import solve as solved
from rigging.units import BadValue

SECONDS: Final = 10.0
"""Time limit of a plan: the watch on riders afloat waits behind it where there is one worker. Policy."""

SLICE_S: Final = 4.0
"""How long a study works before it makes room for others. Status: policy."""

BEAT_S: Final = 1.0
MOST_AT_ONCE: Final = 5


class NotWanted(Exception):
    """The plan was cancelled, or another worker has taken it over."""


class Pulse:
    """The solver's clock, which between its stages also tells how far it is and whether to go on."""

    def __init__(self, actor: Actor, errand: services.Errand) -> None:
        self.actor, self.errand = actor, errand
        self.began = perf_counter()
        self._last = -BEAT_S

    def __call__(self) -> float:
        """Return the seconds since the start.

        Raises:
            NotWanted: the plan is not wanted any more.
        """
        passed = perf_counter() - self.began
        if passed - self._last >= BEAT_S:
            self._last = passed
            words = f"Solving, {passed:.0f} s of at most {SECONDS:.0f} s."
            share = min(round(100 * passed / SECONDS), 99)
            if not services.beat(
                actor=self.actor, errand=self.errand, progress=share, words=words, now=clock.now()
            ):
                raise NotWanted
        return passed


@shared_task(name=services.TASK)
def solve(**_: object) -> None:
    """Solve what waits, one after another."""
    actor = service(System.SOLVE)
    for _turn in range(MOST_AT_ONCE):
        errand = services.take_plan(actor=actor, now=clock.now())
        if errand is None:
            return
        try:
            work_on(actor, errand)
        except NotWanted:
            continue
        except BadValue as bad:
            services.fail_plan(actor=actor, errand=errand, why=f"It cannot be read: {bad}.", now=clock.now())


def work_on(actor: Actor, errand: services.Errand) -> None:
    """Solve one plan and keep what comes of it, if the independent check finds nothing wrong with it."""
    pulse = Pulse(actor, errand)
    problem = to_problem(errand.inputs)
    plan = solved(problem, SECONDS, pulse)
    broken = violations(problem, plan)
    if broken:
        why = f"The check of the plan found: {broken[0]}."
        services.fail_plan(actor=actor, errand=errand, why=why, now=clock.now())
        return
    services.finish_plan(
        actor=actor, errand=errand, problem=problem, solved=plan, seconds=pulse(), now=clock.now()
    )


@shared_task(name="dayplan.study")
def study(**_: object) -> None:
    """Do a slice of the study that waits; the next look does the next slice."""
    actor = service(System.SOLVE)
    taken = services.take_slice(actor=actor, now=clock.now())
    if taken is not None:
        try:
            study_on(actor, taken)
        except BadValue as bad:
            services.fail_study(
                actor=actor, taken=taken, why=f"A day cannot be read: {bad}.", now=clock.now()
            )


def study_on(actor: Actor, taken: services.Slice, slice_s: float = SLICE_S) -> None:
    """Do as many steps of a study as the slice has time for, and keep them."""
    began = perf_counter()
    inputs = queries.inputs_of(list(taken.plans.values()))
    work = StudyWork({day: inputs[plan] for day, plan in taken.plans.items()}, taken.looks, taken.gains)
    while more := work.step(perf_counter):
        if perf_counter() - began >= slice_s:
            break
    looks, gains = work.looks(), work.gains()
    if more:
        words = f"{len(looks)} of {len(taken.plans)} days looked at."
        services.keep_slice(
            actor=actor, taken=taken, looks=looks, gains=gains, progress=min(work.progress, 99), words=words
        )
    else:
        services.finish_study(
            actor=actor, taken=taken, looks=looks, gains=gains, found=work.found, now=clock.now()
        )
