"""Opening a station's page for people at home, and setting its rules."""

from dataclasses import asdict, dataclass
from datetime import datetime

from rentals.audit import services as journal
from rentals.home.models import LANGUAGES, LONGEST_RULE_MIN, Front
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Refused
from rentals.lib.writes import write


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontFacts:
    """What a manager sets: open or not, words, and the rules in minutes and days."""

    is_open: bool
    phone: str
    language: str = "en"
    greeting: str = ""
    house_rules: str = ""
    days_ahead: int = 7
    lead_min: int = 60
    change_until_min: int = 120
    offer_min: int = 30


class UnableToOpen(Refused):
    """The page cannot be set so; fields say where."""

    slug = "front-refused"
    title = "Check the page for people at home"


RANGES = {
    "days_ahead": (1, 60),
    "lead_min": (15, LONGEST_RULE_MIN),
    "change_until_min": (0, LONGEST_RULE_MIN),
    "offer_min": (5, 24 * 60),
}


@write
def open_front(*, actor: Actor, station_id: int, facts: FrontFacts, now: datetime) -> Front:
    """Set a station's page for people at home, open or closed.

    Raises:
        UnableToOpen: a fact that cannot be, with its field.
    """
    actor.require(Act.OPEN_FRONT, station_id=station_id)
    wrong = {
        name: f"Enter a number from {low} to {high}."
        for name, (low, high) in RANGES.items()
        if not low <= getattr(facts, name) <= high
    }
    if not facts.phone.strip():
        wrong["phone"] = "Enter the desk's phone number, for whoever is late or stuck."
    if facts.language not in dict(LANGUAGES):
        wrong["language"] = "Choose one of the languages."
    if wrong:
        raise UnableToOpen(next(iter(wrong.values())), fields=wrong)
    front, _made = Front.objects.update_or_create(station_id=station_id, defaults=asdict(facts))
    word = "open" if facts.is_open else "closed"
    line = journal.Line("station", station_id, f"Page for people at home: {word}", asdict(facts))
    journal.record(actor=actor, act=Act.OPEN_FRONT, station_id=station_id, lines=[line], now=now)
    return front
