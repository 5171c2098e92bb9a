"""Day plans for the tests of the API, as far as a test wants them."""

from typing import Any

from rentals.dayplan import services, tasks
from rentals.dayplan.models import Plan, RigTask
from rentals.lib.access import System, service
from tests.cast import Cast

WORKER = service(System.SOLVE)


def a_wish(**other: Any) -> dict[str, Any]:
    """A party of one that asks whether it can be served."""
    return {
        "kind": "rental",
        "starts_at": "2027-07-14T11:00+01:00",
        "ends_at": "2027-07-14T13:00+01:00",
        "riders": [{"mass_kg": 72, "stature_cm": 176, "level": "advanced"}],
        **other,
    }


def a_day(cast: Cast) -> None:
    """Wren booked, under a wind for the shed's sails."""
    assert cast.shed
    cast.blow()
    cast.booked()


def asked(cast: Cast) -> Plan:
    """A plan that waits."""
    a_day(cast)
    return services.ask_for_plan(
        actor=cast.boss, station_id=cast.tarrow.pk, day=cast.now.date(), now=cast.now
    )


def ready(cast: Cast) -> Plan:
    """A plan that was solved."""
    plan = asked(cast)
    errand = services.take_plan(actor=WORKER, now=cast.now)
    assert errand is not None
    tasks.work_on(WORKER, errand)
    return Plan.objects.get(pk=plan.pk)


def listed(cast: Cast) -> RigTask:
    """A rig of the crew's list."""
    plan = services.accept_plan(actor=cast.boss, plan_id=ready(cast).pk, now=cast.now)
    return RigTask.objects.get(plan=plan)
