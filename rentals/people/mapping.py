"""Riders as the trade's formulas take them, and users as the actors that services ask."""

from collections import defaultdict
from datetime import date

from rentals.lib.access import Actor, Role, System
from rentals.people.models import Posting, Rider, User
from rigging import sizing


def actor_of(user: User, day: date) -> Actor:
    """Return who a user is on a day: one query."""
    roles: defaultdict[int, set[Role]] = defaultdict(set)
    if user.is_active:
        for station_id, role in Posting.objects.on(day).filter(user=user).values_list("station_id", "role"):
            roles[station_id].add(Role(role))
    return Actor(
        user_id=user.pk,
        name=user.shown_name,
        roles={key: frozenset(held) for key, held in roles.items()},
        acts=frozenset({System.FOUND}) if user.is_superuser and user.is_active else frozenset(),
    )


def rider_to_core(rider: Rider) -> sizing.Rider:
    """Return the rider's mass, stature and level."""
    return sizing.Rider(
        mass_kg=float(rider.mass_kg), stature_m=rider.stature_cm / 100, level=sizing.Level(rider.level)
    )
