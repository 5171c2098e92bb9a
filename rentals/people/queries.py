"""Riders and staff of a station, as lists show them."""

from datetime import date

from rentals.lib import show
from rentals.lib.access import Actor
from rentals.people.models import Posting, Rider
from rentals.stations.models import Station

MOST_LISTED = 100


def riders_at(actor: Actor, station: Station, *, named: str = "") -> list[Rider]:
    """Return riders known at a station whose names match, at most a page of them: one query."""
    riders = Rider.objects.visible_to(actor).filter(station=station).named(named)
    return list(riders.order_by("name", "id")[:MOST_LISTED])


def rider_choices(actor: Actor, station: Station) -> list[tuple[str, str]]:
    """Return every rider of a station for a select: one query."""
    riders = Rider.objects.visible_to(actor).filter(station=station).order_by("name", "id")
    return [
        (str(pk), f"{name}, {show.mass(mass_kg)}, {level}")
        for pk, name, mass_kg, level in riders.values_list("pk", "name", "mass_kg", "level")
    ]


def staff_at(station: Station, day: date) -> list[Posting]:
    """Return who works at a station on a day, by name: one query."""
    postings = Posting.objects.on(day).filter(station=station).select_related("user")
    return list(postings.order_by("user__first_name", "user__last_name", "role"))
