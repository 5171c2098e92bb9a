"""Outings and riders that an incident may be about: those of this moment first, any other by name."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import BooleanField, Case, Count, ExpressionWrapper, F, Q, When, Window
from django.db.models.functions import RowNumber

from rentals.bookings.models import Outing, OutingQuerySet
from rentals.bookings.states import OutingState
from rentals.lib import show
from rentals.lib.access import Actor
from rentals.people.models import Rider
from rentals.stations.models import Station

LATELY = timedelta(days=2)
BEFORE_IT_STARTS = timedelta(hours=1)
MOST_OFFERED = 20
"""Of those afloat, of the others, and of the riders found by a name."""

_IS_AFLOAT = ExpressionWrapper(Q(state=OutingState.AFLOAT), BooleanField())
_COUNT = Window(Count("pk"))


@dataclass(frozen=True, slots=True)
class Whom:
    """What the selects of an incident offer, and what they leave out."""

    outings: tuple[tuple[str, list[tuple[str, str]]], ...]
    riders: tuple[tuple[str, str], ...]
    words: str


def whom(
    actor: Actor,
    station: Station,
    *,
    named: str,
    outing_id: int | None,
    rider_id: int | None,
    now: datetime,
) -> Whom:
    """Return outings and riders to choose from: two queries, and one for each choice made that is not there.

    Without a name these are riders afloat, those due first, then whoever came ashore last. A name finds any
    outing that has begun, however old.

    Args:
        actor: who asks.
        station: where.
        named: part of a rider's name.
        outing_id: an outing that was chosen already, which stays on offer.
        rider_id: a rider who was chosen already, and stays.
        now: the moment.
    """
    begun = Outing.objects.visible_to(actor).filter(station=station, starts_at__lte=now + BEFORE_IT_STARTS)
    known = Rider.objects.visible_to(actor).filter(station=station)
    wanted = known.named(named)
    lately = Q(starts_at__gt=now - LATELY) | Q(state=OutingState.AFLOAT)
    begun = begun.filter(Q(rider__in=wanted) if named else lately)
    found = list(_first_of_each(begun))
    there_are = sum({each.is_afloat: each.there_are for each in found}.values())
    by_name: Any = wanted.annotate(there_are=_COUNT).order_by("name", "id")
    riders = list(by_name[: MOST_OFFERED + 1])
    riders_known = riders[0].there_are if riders else 0
    if len(riders) > MOST_OFFERED:
        riders = riders[:-1] if named else _riders_of(found)
    words = _words(named, (len(found), there_are), (len(riders), riders_known))
    if outing_id is not None and outing_id not in {each.pk for each in found}:
        chosen = Outing.objects.visible_to(actor).filter(station=station, pk=outing_id)
        found += chosen.annotate(is_afloat=_IS_AFLOAT).select_related("rider")
    if rider_id is not None and rider_id not in {each.pk for each in riders}:
        riders += known.filter(pk=rider_id)
    groups = [
        (name, _choices(station, (each for each in found if each.is_afloat == is_afloat)))
        for name, is_afloat in (("Afloat", True), ("Ashore, or not gone out", False))
    ]
    return Whom(
        outings=tuple((name, choices) for name, choices in groups if choices),
        riders=tuple((str(each.pk), f"{each}, {show.mass(each.mass_kg)}, {each.level}") for each in riders),
        words=words,
    )


def _first_of_each(outings: OutingQuerySet) -> Any:
    """Return the first of those afloat and of the others, with how many there are of each: one query."""
    due = Case(When(state=OutingState.AFLOAT, then=F("ends_at")))
    order: list[Any] = [due.asc(), F("ashore_at").desc(nulls_last=True), F("starts_at").desc(), F("id").asc()]
    numbered = outings.annotate(is_afloat=_IS_AFLOAT).annotate(
        place=Window(RowNumber(), partition_by=["is_afloat"], order_by=order),
        there_are=Window(Count("pk"), partition_by=["is_afloat"]),
    )
    return numbered.filter(place__lte=MOST_OFFERED).select_related("rider").order_by("place")


def _riders_of(outings: Iterable[Outing]) -> list[Rider]:
    """Return who is out on these, each once, by name."""
    return sorted({outing.rider for outing in outings}, key=lambda rider: (rider.name, rider.pk))


def _choices(station: Station, outings: Iterable[Outing]) -> list[tuple[str, str]]:
    return [
        (str(outing.pk), f"{outing.rider}, {station.local(outing.starts_at):%a %d %b %Y, %H:%M}")
        for outing in outings
    ]


def _words(named: str, outings: tuple[int, int], riders: tuple[int, int]) -> str:
    """Return what the lists leave out and where it is, of (shown, there are); nothing where all is shown."""
    lately = "" if named else " of the last two days"
    parts = [(outings, f"outings{lately}"), (riders, "riders")]
    left_out = [
        f"{there_are - shown} of {there_are} {of}" for (shown, there_are), of in parts if there_are > shown
    ]
    if left_out:
        how = "Write more of the name." if named else "Find them by name."
        return f"Not in these lists: {' and '.join(left_out)}. {how}"
    return "" if not named or riders[1] else f"Nobody here has a name like “{named}”."
