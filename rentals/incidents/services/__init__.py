"""Writes of incidents: telling, correcting, following up and closing them; and the closing round of a day."""

from rentals.incidents.services.calling import SAID, WHOM, UnableToNoteCall, note_call
from rentals.incidents.services.closing import (
    NAME,
    NOTE,
    DayMovedOn,
    UnableToSign,
    reopen_day,
    sign_day,
)
from rentals.incidents.services.telling import (
    DONE,
    PLACE,
    WHY,
    WITNESS,
    WORDS,
    IncidentMovedOn,
    Told,
    UnableToTell,
    close_incident,
    correct_incident,
    follow_up,
    reopen_incident,
    report_incident,
)

__all__ = [
    "DONE",
    "NAME",
    "NOTE",
    "PLACE",
    "SAID",
    "WHOM",
    "WHY",
    "WITNESS",
    "WORDS",
    "DayMovedOn",
    "IncidentMovedOn",
    "Told",
    "UnableToNoteCall",
    "UnableToSign",
    "UnableToTell",
    "close_incident",
    "correct_incident",
    "follow_up",
    "note_call",
    "reopen_day",
    "reopen_incident",
    "report_incident",
    "sign_day",
]
