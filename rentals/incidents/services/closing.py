"""Signing a day off after its closing round, and opening it again."""

from datetime import date, datetime, timedelta
from uuid import UUID

from rentals.audit import services as journal
from rentals.incidents.models import Closing
from rentals.incidents.queries import closing as queries
from rentals.incidents.states import is_shut
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, NotVisible, Refused
from rentals.lib.writes import inside_write, write
from rentals.stations.models import Station
from rigging.checks.lists import CLOSING

LATEST = timedelta(days=7)
"""How long a forgotten day may still be signed."""
NAME, NOTE = 150, 500


class UnableToSign(Refused):
    """The day cannot be signed off as it stands."""

    slug = "closing-refused"
    title = "The day is not closed yet"


class DayMovedOn(Conflict):
    """The day is signed, or open, already."""

    slug = "closing-state"
    title = "The day has moved on"


@write
def sign_day(
    *,
    actor: Actor,
    station_id: int,
    day: date,
    ticked: frozenset[str],
    name: str,
    note: str = "",
    once: UUID | None = None,
    now: datetime,
) -> Closing:
    """Sign a day off after the closing round. What is not back is listed in the line that is kept.

    Args:
        actor: whose account signs.
        station_id, day: which day; today or one of the last seven.
        ticked: keys of the points that were gone through.
        name: the person who went round.
        note: what is done about items that are not back; needed when there are any.
        once: the form's own key.
        now: the moment.

    Raises:
        UnableToSign: somebody is afloat, a point is open, no name, or nothing said of what is missing.
        DayMovedOn: it is signed.
    """
    actor.require(Act.SIGN_CLOSING, station_id=station_id)
    asked = [station_id, day, sorted(ticked), name, note]
    claim = journal.claim(actor=actor, act=Act.SIGN_CLOSING, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Closing.objects.get(pk=claim.result_id)
    station = _locked(station_id)
    found = queries.closing_of(station, day, now=now)
    if found.signed is not None:
        raise DayMovedOn(f"{found.signed.name} signed this day already. Open it again to sign anew.")
    _refuse_what_is_open(found, station, ticked, name, note, now)
    missing = [
        {"tag": part.item.tag, "rider": str(part.outing.rider), "outing": part.outing_id}
        for part in found.missing
    ]
    points = [{"key": key, "text": text} for key, text in CLOSING]
    line = _turn(actor, station, found, Closing.Step.SIGNED, name, note, now, points=points, missing=missing)
    journal.settle(claim, line.pk)
    return line


@write
def reopen_day(*, actor: Actor, station_id: int, day: date, name: str, note: str, now: datetime) -> Closing:
    """Open a signed day again; the signature stays on record.

    Raises:
        UnableToSign: no name or no reason.
        DayMovedOn: it is not signed.
    """
    actor.require(Act.SIGN_CLOSING, station_id=station_id)
    station = _locked(station_id)
    found = queries.closing_of(station, day, now=now)
    if found.signed is None:
        raise DayMovedOn("This day is not signed. There is nothing to open again.")
    if not name.strip():
        raise UnableToSign.at("name", "Enter who opens it again.")
    if not note.strip():
        raise UnableToSign.at("note", "Enter why it is opened again.")
    return _turn(actor, station, found, Closing.Step.REOPENED, name, note, now)


def _refuse_what_is_open(
    found: queries.OpenDay, station: Station, ticked: frozenset[str], name: str, note: str, now: datetime
) -> None:
    today = station.local(now).date()
    if not today - LATEST <= found.day <= today:
        raise UnableToSign.at("day", "Choose today or one of the last seven days.")
    if found.afloat:
        names = ", ".join(str(outing.rider) for outing in found.afloat)
        raise UnableToSign(
            f"Still afloat by the log: {names}. See each of them ashore first. "
            f"If one cannot be found, call the rescue service: {station.rescue_number}."
        )
    wrong = {f"point.{key}": "Go and look, then tick it." for key, _ in CLOSING if key not in ticked}
    if not name.strip() or len(name) > NAME:
        wrong["name"] = "Enter the name of the person who went round."
    if found.missing and not note.strip():
        wrong["note"] = "Enter what is done about the items that are not back."
    if len(note) > NOTE:
        wrong["note"] = f"Enter at most {NOTE} characters."
    if wrong:
        raise UnableToSign(next(iter(wrong.values())), fields=wrong)


@inside_write
def _turn(
    actor: Actor,
    station: Station,
    found: queries.OpenDay,
    step: Closing.Step,
    name: str,
    note: str,
    now: datetime,
    *,
    points: list[dict[str, str]] | None = None,
    missing: list[dict[str, object]] | None = None,
) -> Closing:
    assert is_shut(len(found.turns)) == (step == Closing.Step.REOPENED)  # noqa: S101 - asked before
    line = Closing.objects.create(
        station=station,
        day=found.day,
        turn=len(found.turns) + 1,
        step=step,
        at=now,
        by_id=actor.person_id,
        name=" ".join(name.split())[:NAME],
        points=points or [],
        missing=missing or [],
        note=note.strip()[:NOTE],
    )
    text = (
        f"Closing round of {found.day:%-d %b %Y} {step.label} by {line.name}, {len(line.missing)} items out"
    )
    if step == Closing.Step.REOPENED:
        text = f"Closing round of {found.day:%-d %b %Y} {step.label} by {line.name}: {line.note}"
    told = journal.Line("station", station.pk, text, {"missing": line.missing})
    journal.record(actor=actor, act=Act.SIGN_CLOSING, station_id=station.pk, lines=[told], now=now)
    return line


def _locked(station_id: int) -> Station:
    """Return the station, locked, so that of two who sign a day one waits for the other."""
    station = Station.objects.select_for_update().filter(pk=station_id).first()
    if station is None:
        raise NotVisible("There is no such station here.")
    return station
