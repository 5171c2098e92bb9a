"""What a manager sets about safety at a station: gates, phase minutes, ratios, who is told, and where."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Final
from urllib.parse import urlsplit

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from rentals.afloat.models import MOST_CONTACTS, WatchContact
from rentals.audit import services as journal
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Refused
from rentals.lib.writes import write
from rentals.mail import services as mail
from rentals.stations.models import ACKNOWLEDGE_MIN, DAY_MIN, MOST_RIDERS, WATER_C, Station
from rigging import checks

RANGES: Final = {
    "uncertainty_min": (0, DAY_MIN, "minutes"),
    "alert_min": (1, DAY_MIN, "minutes"),
    "distress_min": (2, DAY_MIN, "minutes"),
    "cold_water_c": (*WATER_C, "°C"),
    "sunset_min": (0, DAY_MIN, "minutes"),
    "acknowledge_min": (*ACKNOWLEDGE_MIN, "minutes"),
    "riders_per_instructor": (1, MOST_RIDERS, "riders"),
    "riders_without_boat": (1, MOST_RIDERS, "riders"),
}
"""What each number may be, and its unit."""


class UnableToSetSafety(Refused):
    """Settings that do not hold together."""

    slug = "safety-refused"
    title = "Check the safety settings"


@dataclass(frozen=True, slots=True, kw_only=True)
class Safety:
    """A station's safety settings: phases, what halves them, ratios, and the gates that are soft."""

    uncertainty_min: int
    alert_min: int
    distress_min: int
    cold_water_c: float
    sunset_min: int
    acknowledge_min: int
    riders_per_instructor: int
    riders_without_boat: int
    soft_gates: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """Somebody who is told when nobody takes an alarm on."""

    name: str
    email: str
    phone: str = ""


@write
def set_safety(*, actor: Actor, station_id: int, safety: Safety, now: datetime) -> Station:
    """Set a station's safety settings; the journal keeps what each was before.

    Raises:
        UnableToSetSafety: a number out of range or out of order, or a gate that is none or always hard.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    wrong = _faults(safety)
    if wrong:
        raise UnableToSetSafety(next(iter(wrong.values())), fields=wrong)
    station = Station.objects.locked(station_id)
    values = {
        **asdict(safety),
        "soft_gates": [name for name in checks.HARD_GATES if name in safety.soft_gates],
    }
    changed = {
        name: [getattr(station, name), value]
        for name, value in values.items()
        if getattr(station, name) != value
    }
    if changed:
        Station.objects.filter(pk=station_id).update(**values)
        said = "; ".join(
            f"{name.replace('_', ' ')} {_shown(old)} → {_shown(new)}" for name, (old, new) in changed.items()
        )
        line = journal.Line("station", station_id, f"Safety settings: {said}", changed)
        journal.record(actor=actor, act=Act.SET_STATION, station_id=station_id, lines=[line], now=now)
    station.refresh_from_db()
    return station


@write
def set_contacts(*, actor: Actor, station_id: int, contacts: Sequence[Contact], now: datetime) -> None:
    """Set who is told one after the other when an alarm is not taken on, in place of those before.

    Raises:
        UnableToSetSafety: too many, one without a name, or an address that is none; `contacts.N.field`.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    wrong = _contact_faults(contacts)
    if wrong:
        raise UnableToSetSafety(next(iter(wrong.values())), fields=wrong)
    WatchContact.objects.filter(station_id=station_id).delete()
    WatchContact.objects.bulk_create(
        WatchContact(
            station_id=station_id,
            place=place,
            name=contact.name.strip(),
            email=contact.email.strip(),
            phone=contact.phone.strip(),
        )
        for place, contact in enumerate(contacts, start=1)
    )
    names = (
        ", then ".join(contact.name.strip() for contact in contacts) or "nobody but the station's own watch"
    )
    line = journal.Line("station", station_id, f"Told when an alarm is not taken on: {names}")
    journal.record(actor=actor, act=Act.SET_STATION, station_id=station_id, lines=[line], now=now)


@write
def set_hook(*, actor: Actor, station_id: int, url: str, now: datetime) -> str:
    """Set the web address that alarms are posted to, in place of another; return its secret, this once.

    Raises:
        UnableToSetHook: no https address, or one with a name and password in it.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    secret = mail.put_hook(station_id=station_id, url=url.strip(), now=now)
    line = journal.Line("station", station_id, f"Alarms are posted to {urlsplit(url).hostname} from now on")
    journal.record(actor=actor, act=Act.SET_STATION, station_id=station_id, lines=[line], now=now)
    return secret


@write
def stop_hook(*, actor: Actor, station_id: int, now: datetime) -> None:
    """Post alarms nowhere any more; stopping twice changes nothing."""
    actor.require(Act.SET_STATION, station_id=station_id)
    if mail.end_hook(station_id=station_id, now=now):
        line = journal.Line("station", station_id, "Alarms are no longer posted to a web address")
        journal.record(actor=actor, act=Act.SET_STATION, station_id=station_id, lines=[line], now=now)


def _faults(safety: Safety) -> dict[str, str]:
    wrong = {
        name: f"Enter {low:g} to {high:g} {unit}."
        for name, (low, high, unit) in RANGES.items()
        if not low <= getattr(safety, name) <= high
    }
    if not safety.uncertainty_min < safety.alert_min:
        wrong.setdefault("alert_min", "Enter more minutes than for uncertainty.")
    if not safety.alert_min < safety.distress_min:
        wrong.setdefault("distress_min", "Enter more minutes than for alert.")
    if safety.riders_without_boat > safety.riders_per_instructor:
        wrong.setdefault("riders_without_boat", "Enter no more riders than with the safety boat manned.")
    unknown = sorted(safety.soft_gates - set(checks.HARD_GATES))
    always = sorted(safety.soft_gates & checks.ALWAYS_HARD)
    if unknown:
        wrong["soft_gates"] = f"There is no gate {unknown[0]}."
    elif always:
        wrong["soft_gates"] = f"The gate {always[0].replace('_', ' ')} is always hard."
    return wrong


def _contact_faults(contacts: Sequence[Contact]) -> dict[str, str]:
    wrong = {}
    if len(contacts) > MOST_CONTACTS:
        wrong["contacts"] = f"Enter at most {MOST_CONTACTS} contacts."
    for number, contact in enumerate(contacts):
        if not contact.name.strip():
            wrong[f"contacts.{number}.name"] = "Enter who that is."
        try:
            validate_email(contact.email.strip())
        except ValidationError:
            wrong[f"contacts.{number}.email"] = "Enter a mail address, such as watch@example.org."
    return wrong


def _shown(value: object) -> str:
    if isinstance(value, list):
        return ", ".join(str(each).replace("_", " ") for each in value) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value)
