"""Logging the beach and launch checks, letting riders go, noting them ashore, and the watch over the late."""

from rentals.afloat.services.beach import (
    BeachEntry,
    UnableToLogBeach,
    log_beach,
    take_back_lightning,
)
from rentals.afloat.services.launching import (
    UnableToLaunch,
    call_ashore,
    call_back_afloat,
    check_launch,
    land,
    launch,
)
from rentals.afloat.services.setting import (
    RANGES,
    Contact,
    Safety,
    UnableToSetSafety,
    set_contacts,
    set_hook,
    set_safety,
    stop_hook,
)
from rentals.afloat.services.watching import acknowledge, look, watch

__all__ = [
    "RANGES",
    "BeachEntry",
    "Contact",
    "Safety",
    "UnableToLaunch",
    "UnableToLogBeach",
    "UnableToSetSafety",
    "acknowledge",
    "call_ashore",
    "call_back_afloat",
    "check_launch",
    "land",
    "launch",
    "log_beach",
    "look",
    "set_contacts",
    "set_hook",
    "set_safety",
    "stop_hook",
    "take_back_lightning",
    "watch",
]
