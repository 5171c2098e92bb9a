"""Passes of riders: what is left on each, and whether it still pays on a day."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Sum

from rentals.bookings.models import Booking, Outing
from rentals.stations.models import Station
from rentals.takings.models import Pass


@dataclass(frozen=True, slots=True)
class PassLeft:
    """A pass, and the minutes left on it; None where its minutes are not counted."""

    held: Pass
    left: int | None

    @property
    def left_h(self) -> str:
        """What is left as hours and minutes; empty where minutes are not counted."""
        return "" if self.left is None else f"{self.left // 60} h {self.left % 60:02d} min"

    def good_on(self, day: date) -> bool:
        """Say whether it still pays on a day."""
        return self.held.first_day <= day <= self.held.last_day and self.left != 0


@dataclass(frozen=True, slots=True)
class Cover:
    """A pass that pays for an outing's time, and the minutes it takes."""

    held: Pass
    minutes: int
    left: int | None


def passes_of(riders: Iterable[int]) -> list[PassLeft]:
    """Return what some riders hold and was not taken back, the one that ends first first: one query."""
    standing = Pass.objects.filter(rider__in=riders, charge__taken_back=None)
    found = standing.annotate(used=Sum("uses__minutes", default=0)).select_related("rider", "charge")
    return [
        PassLeft(held, None if held.minutes is None else held.minutes - held.used)
        for held in found.order_by("last_day", "id")
    ]


def cover_more(outing: Outing, minutes: int) -> Cover | None:
    """Return the pass that pays for more of an outing, the one that ends first: one query."""
    day = outing.station.local(outing.starts_at).date()
    known = [each for each in passes_of([outing.rider_id]) if each.good_on(day)]
    for each in known:
        if each.left is None or each.left >= minutes:
            return Cover(each.held, minutes, None if each.left is None else each.left - minutes)
    return None


class Covers:
    """The passes of some riders, and what is left on each as outings take from it."""

    def __init__(self, station: Station, known: Iterable[PassLeft]) -> None:
        self.station = station
        self.held: defaultdict[int, list[Pass]] = defaultdict(list)
        self.left: dict[int, int | None] = {}
        for each in known:
            self.held[each.held.rider_id].append(each.held)
            self.left[each.held.pk] = each.left

    def take(self, outing: Outing) -> Cover | None:
        """Return the pass that covers an outing, the one that ends first, and take its minutes."""
        if outing.booking.kind != Booking.Kind.RENTAL:
            return None
        minutes = round((outing.ends_at - outing.starts_at).total_seconds() / 60)
        day = self.station.local(outing.starts_at).date()
        for held in self.held[outing.rider_id]:
            left = self.left[held.pk]
            if held.first_day <= day <= held.last_day and (left is None or left >= minutes):
                self.left[held.pk] = after = None if left is None else left - minutes
                return Cover(held, minutes, after)
        return None
