"""Setting who builds rigs, and how long they take."""

from dataclasses import asdict, dataclass
from datetime import datetime

from rentals.audit import services as journal
from rentals.dayplan.models import HANDS, LEAD_MIN, RIG_MIN, Crew
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Refused
from rentals.lib.writes import write


class UnableToSetCrew(Refused):
    """A number of the crew is out of range."""

    slug = "crew-refused"
    title = "Check the crew"


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewFacts:
    """People who build at once, minutes one takes for a rig, minutes before a start at which they begin."""

    hands: int
    rig_min: int
    lead_min: int


@write
def set_crew(*, actor: Actor, station_id: int, facts: CrewFacts, now: datetime) -> Crew:
    """Set a station's crew; plans asked for from now on reckon with it.

    Raises:
        UnableToSetCrew: a number out of range, or fewer minutes before a start than a rig takes.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    wrong = {
        name: f"Enter {low} to {high}."
        for name, value, (low, high) in (
            ("hands", facts.hands, HANDS),
            ("rig_min", facts.rig_min, RIG_MIN),
            ("lead_min", facts.lead_min, LEAD_MIN),
        )
        if not low <= value <= high
    }
    if not wrong and facts.lead_min < facts.rig_min:
        wrong = {"lead_min": "Enter at least the minutes that a rig takes."}
    if wrong:
        raise UnableToSetCrew(next(iter(wrong.values())), fields=wrong)
    crew, _ = Crew.objects.update_or_create(station_id=station_id, defaults=asdict(facts))
    text = f"Rig crew: {facts.hands} at once, {facts.rig_min} min a rig, from {facts.lead_min} min before"
    line = journal.Line("station", station_id, text, asdict(facts))
    journal.record(actor=actor, act=Act.SET_STATION, station_id=station_id, lines=[line], now=now)
    return crew
