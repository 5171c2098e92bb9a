"""How a station's day stands at closing time: who is afloat, what is not back, and who signed."""

from dataclasses import dataclass
from datetime import date, datetime

from rentals.afloat import queries as afloat
from rentals.afloat.models import BeachLog
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import NOT_YET_AFLOAT
from rentals.incidents.models import Closing
from rentals.incidents.states import is_shut
from rentals.lib.when import day_bounds
from rentals.stations.models import Station

MOST_SHOWN = 20
"""Riders with a line of their own: those afloat who are due first, and those first to come."""

MOST_ITEMS = 100


@dataclass(frozen=True, slots=True)
class OpenDay:
    """A day at closing time."""

    day: date
    afloat: tuple[Outing, ...]
    missing: tuple[KitPart, ...]
    to_come: tuple[Outing, ...]
    more_to_come: int
    log: BeachLog | None
    turns: tuple[Closing, ...]

    @property
    def signed(self) -> Closing | None:
        """The signature in force."""
        return self.turns[-1] if is_shut(len(self.turns)) else None

    @property
    def at_hand(self) -> tuple[Outing, ...]:
        """The riders afloat who are due first, with their party: the page gives each a line of their own."""
        return self.afloat[:MOST_SHOWN]

    @property
    def further(self) -> tuple[Outing, ...]:
        """The others afloat, whom the page names."""
        return self.afloat[MOST_SHOWN:]

    @property
    def rows(self) -> tuple[KitPart, ...]:
        """The items out longest, as many as a page holds."""
        return self.missing[:MOST_ITEMS]

    @property
    def more_missing(self) -> int:
        """How many items are out besides."""
        return len(self.missing) - len(self.rows)

    @property
    def may_sign(self) -> bool:
        """Whether nobody is on the water."""
        return not self.afloat


def closing_of(station: Station, day: date, *, now: datetime) -> OpenDay:
    """Return how a day stands: six queries, seven where more are to come than are shown.

    Riders afloat and items that are out count whatever day they went out.
    """
    start, end = day_bounds(day, station.zone)
    out = Outing.objects.afloat().filter(station=station).with_faces().order_by("ends_at", "id")
    parts = KitPart.objects.filter(outing__station=station).with_rider().with_items()
    missing = parts.exclude(outing__state="afloat").select_related("item__model", "outing__rider")
    still = Outing.objects.filter(station=station, state__in=NOT_YET_AFLOAT).between(start, end)
    to_come = tuple(still.select_related("rider")[:MOST_SHOWN])
    return OpenDay(
        day=day,
        afloat=tuple(out),
        missing=tuple(missing.order_by("issued_at", "id")),
        to_come=to_come,
        more_to_come=still.count() - len(to_come) if len(to_come) == MOST_SHOWN else 0,
        log=afloat.beach_now(station, now=now, riders_afloat=0).log,
        turns=tuple(Closing.objects.filter(station=station, day=day).select_related("by").order_by("turn")),
    )
