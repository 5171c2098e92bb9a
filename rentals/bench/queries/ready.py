"""Checks due today, to be kept ready on a device in case the connection is lost: nobody is named."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID, uuid4

from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import OutingState
from rentals.checklists import queries as checklists
from rentals.checklists.models import Check
from rentals.checklists.queries import InForce
from rentals.lib.access import Act, Actor
from rentals.lib.when import day_bounds
from rentals.stations.models import Station

MOST_READY: Final = 60
"""Of a station, the earliest first. Policy: more are not on one beach at a time."""

DUE: Final = {
    OutingState.KITTED: Check.LAUNCH,
    OutingState.AFLOAT: Check.RETURN,
    OutingState.ASHORE: Check.RETURN,
}


@dataclass(frozen=True, slots=True)
class Ready:
    """One check that is due: the outing's number, its kit and what to look at. It has a key of its own."""

    outing: Outing
    check: Check
    kit: Sequence[KitPart]
    listed: InForce
    once: UUID

    @property
    def address(self) -> str:
        """The name of the page that takes the check."""
        return f"{self.check}-check"

    @property
    def parts(self) -> list[tuple[KitPart, tuple[str, ...]]]:
        """Each part with what to look at."""
        return [(part, self.listed.about(part.part, self.outing.rider.level)) for part in self.kit]

    @property
    def points(self) -> tuple[tuple[str, str], ...]:
        """What to tick before launch, by key."""
        return self.listed.points({part.part for part in self.kit}, self.outing.rider.level)

    @property
    def of_rider(self) -> tuple[str, ...]:
        """What to see to about the rider when the kit comes back."""
        return self.listed.about("rider", self.outing.rider.level)


def checks_ready(actor: Actor, *, now: datetime) -> list[Ready]:
    """Return the checks due today at the actor's stations: one query, and four for each station."""
    stations = Station.objects.visible_to(actor).order_by("name")
    return [each for station in stations for each in _at(station, actor, now)]


def _at(station: Station, actor: Actor, now: datetime) -> list[Ready]:
    start, end = day_bounds(station.local(now).date(), station.zone)
    due = Outing.objects.filter(station=station, state__in=DUE, starts_at__lt=end, ends_at__gt=start)
    outings = list(due.select_related("station", "rider").order_by("starts_at", "id")[:MOST_READY])
    kits: dict[int, list[KitPart]] = defaultdict(list)
    for part in KitPart.objects.filter(outing__in=outings).in_force().with_items():
        kits[part.outing_id].append(part)
    lists = {check: checklists.in_force(station, check) for check in Check}
    ready = []
    for outing in outings:
        check, kit = DUE[OutingState(outing.state)], kits[outing.pk]
        issued = bool(kit) and all(part.issued_at for part in kit)
        out = [part for part in kit if part.issued_at and part.returned_at is None]
        if (check == Check.LAUNCH and issued and actor.may(Act.CHECK_LAUNCH, station_id=station.pk)) or (
            check == Check.RETURN and out
        ):
            ready.append(Ready(outing, check, kit if check == Check.LAUNCH else out, lists[check], uuid4()))
    return ready
