"""The menu: one line for each page that a role has at hand, in the order of a working day."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django import template
from django.urls import reverse

from rentals.lib.access import MAY, Act

register = template.Library()


@dataclass(frozen=True, slots=True)
class Entry:
    """A page in the menu: its key (the view's `page`), its word, its address, and the act it is for."""

    page: str
    word: str
    address: str
    act: Act = Act.LOOK


MENU: Final[tuple[Entry, ...]] = (
    Entry("today", "Today", "today"),
    Entry("rig-up", "Rig-up", "rig-up"),
    Entry("afloat", "Afloat", "afloat"),
    Entry("lessons", "Lessons", "lessons"),
    Entry("weather", "Wind", "weather"),
    Entry("kit", "Kit", "kit"),
    Entry("bench", "Bench", "bench"),
    Entry("riders", "Riders", "riders"),
    Entry("takings", "Takings", "takings", Act.TAKE_PAYMENT),
    Entry("life", "Life", "life", Act.SEE_LIFE),
    Entry("review", "Review", "review", Act.REVIEW),
    Entry("incidents", "Incidents", "incidents"),
    Entry("station", "Station", "station"),
    Entry("from-home", "From home", "from-home"),
)


@dataclass(frozen=True, slots=True)
class Link:
    """An entry as one person at one station sees it."""

    word: str
    url: str
    here: bool


@register.simple_tag(takes_context=True)
def menu(context: dict[str, Any]) -> Sequence[Link]:
    """Return the links that the person's roles at this station may follow."""
    # The page for a fault of ours is rendered without a request.
    station, actor = context.get("station"), getattr(context.get("request"), "actor", None)
    if station is None or actor is None:
        return ()
    roles = actor.roles.get(station.pk, frozenset())
    return [
        Link(entry.word, reverse(entry.address, args=[station.slug]), entry.page == context.get("page"))
        for entry in MENU
        if roles & MAY[entry.act]
    ]
