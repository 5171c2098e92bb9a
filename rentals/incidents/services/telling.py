"""Reporting incidents, correcting and following them up, and closing them."""

from collections.abc import Collection
from dataclasses import asdict, dataclass, fields
from datetime import datetime, timedelta
from uuid import UUID

from rentals.audit import services as journal
from rentals.bench import services as bench
from rentals.bookings.models import Outing
from rentals.fleet.models import Item
from rentals.incidents.models import Cause, FollowUp, Incident, IncidentItem, Kind, Severity, Telling
from rentals.incidents.queries import telling as queries
from rentals.incidents.states import is_shut
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, NotVisible, Refused
from rentals.lib.when import is_aware
from rentals.lib.writes import inside_write, write
from rentals.people.models import Rider

OLDEST = timedelta(days=2 * 365)
MOST_ITEMS = 40
WORDS, WITNESS, PLACE, WHY, DONE = 4000, 200, 120, 300, 2000


class UnableToTell(Refused):
    """What is told of an incident does not hold together."""

    slug = "incident-refused"
    title = "Check what happened"


class IncidentMovedOn(Conflict):
    """The incident is closed, or open, already."""

    slug = "incident-state"
    title = "The incident has moved on"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What happened, as somebody tells it; links to an outing and a rider where there are any."""

    kind: str
    severity: str
    cause: str
    happened_at: datetime
    words: str
    place: str = ""
    witness: str = ""
    outing_id: int | None = None
    rider_id: int | None = None


@write
def report_incident(
    *,
    actor: Actor,
    station_id: int,
    told: Told,
    item_ids: Collection[int] = (),
    once: UUID | None = None,
    now: datetime,
) -> Incident:
    """Report an incident: the weather of its moment is filled in, and its items are held back at once.

    Raises:
        UnableToTell: what does not hold together, each with its field.
    """
    actor.require(Act.REPORT_INCIDENT, station_id=station_id)
    asked = [station_id, asdict(told), sorted(item_ids)]
    claim = journal.claim(actor=actor, act=Act.REPORT_INCIDENT, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Incident.objects.get(pk=claim.result_id)
    told = _checked(station_id, told, now)
    incident = Incident.objects.create(station_id=station_id, reported_at=now, reported_by_id=actor.person_id)
    telling = _tell(actor, incident, told, version=1, why="", now=now)
    _hold_back(actor, Act.REPORT_INCIDENT, incident, telling, item_ids, now)
    _record(actor, Act.REPORT_INCIDENT, incident, telling, f"Reported: {_named(telling)}", now)
    journal.settle(claim, incident.pk)
    return incident


@write
def correct_incident(
    *,
    actor: Actor,
    incident_id: int,
    told: Told,
    item_ids: Collection[int] = (),
    why: str,
    version: int | None = None,
    now: datetime,
) -> Telling:
    """Tell an incident anew; the earlier telling stays, and items named now are held back as well.

    Args:
        actor: who corrects.
        incident_id: which.
        told: all of it as it should read.
        item_ids: items that were involved too.
        why: what was wrong before.
        version: the telling that was read, so that two corrections do not cover each other unseen.
        now: the moment.

    Raises:
        UnableToTell: what does not hold together, no reason, or nothing that differs.
        IncidentMovedOn: somebody corrected it meanwhile.
    """
    incident = _visible(actor, incident_id)
    actor.require(Act.FOLLOW_INCIDENT, station_id=incident.station_id)
    before = incident.tellings.order_by("-version")[0]
    if version is not None and version != before.version:
        raise IncidentMovedOn("A colleague corrected this incident meanwhile. Read it again first.")
    if not why.strip():
        raise UnableToTell.at("why", "Enter why it is corrected.")
    told = _checked(incident.station_id, told, now)
    known = set(incident.items.values_list("item_id", flat=True))
    added = [item_id for item_id in item_ids if item_id not in known]
    if _told(before) == told and not added:
        raise UnableToTell("Nothing differs from what was told before. Change what was wrong.")
    telling = _tell(actor, incident, told, version=before.version + 1, why=why.strip(), now=now)
    _hold_back(actor, Act.FOLLOW_INCIDENT, incident, telling, added, now)
    _record(actor, Act.FOLLOW_INCIDENT, incident, telling, f"Corrected: {telling.why}", now)
    return telling


@write
def follow_up(
    *, actor: Actor, incident_id: int, words: str, once: UUID | None = None, now: datetime
) -> FollowUp:
    """Note what was done about an incident.

    Raises:
        UnableToTell: nothing said.
    """
    incident = _visible(actor, incident_id)
    actor.require(Act.FOLLOW_INCIDENT, station_id=incident.station_id)
    claim = journal.claim(actor=actor, act=Act.FOLLOW_INCIDENT, key=once, asked=[incident_id, words], now=now)
    if claim.result_id is not None:
        return FollowUp.objects.get(pk=claim.result_id)
    done = _follow(actor, Act.FOLLOW_INCIDENT, incident, FollowUp.Step.NOTE, words, now)
    journal.settle(claim, done.pk)
    return done


@write
def close_incident(*, actor: Actor, incident_id: int, words: str, now: datetime) -> FollowUp:
    """Close an incident with what was learnt from it.

    Raises:
        UnableToTell: nothing said.
        IncidentMovedOn: it is closed.
    """
    return _turn(actor, incident_id, FollowUp.Step.CLOSED, words, now)


@write
def reopen_incident(*, actor: Actor, incident_id: int, words: str, now: datetime) -> FollowUp:
    """Open a closed incident again; the closing stays on record.

    Raises:
        UnableToTell: no reason.
        IncidentMovedOn: it is open.
    """
    return _turn(actor, incident_id, FollowUp.Step.REOPENED, words, now)


@inside_write
def _turn(actor: Actor, incident_id: int, step: FollowUp.Step, words: str, now: datetime) -> FollowUp:
    incident = _visible(actor, incident_id)
    actor.require(Act.CLOSE_INCIDENT, station_id=incident.station_id)
    turns = incident.follow_ups.filter(turn__isnull=False).count()
    if is_shut(turns) == (step == FollowUp.Step.CLOSED):
        raise IncidentMovedOn(f"The incident is {'closed' if is_shut(turns) else 'open'} already.")
    return _follow(actor, Act.CLOSE_INCIDENT, incident, step, words, now, turn=turns + 1)


def _follow(
    actor: Actor,
    act: Act,
    incident: Incident,
    step: FollowUp.Step,
    words: str,
    now: datetime,
    turn: int | None = None,
) -> FollowUp:
    if not words.strip():
        raise UnableToTell.at("words", "Enter what was done or found.")
    done = FollowUp.objects.create(
        incident=incident, at=now, by_id=actor.person_id, step=step, turn=turn, words=words.strip()[:DONE]
    )
    text = done.words if step == FollowUp.Step.NOTE else f"{step.label.capitalize()}: {done.words}"
    line = journal.Line("incident", incident.pk, text)
    journal.record(actor=actor, act=act, station_id=incident.station_id, lines=[line], now=now)
    return done


def _checked(station_id: int, told: Told, now: datetime) -> Told:
    """Return what was told, tidied, with the outing's rider where none is named.

    Raises:
        UnableToTell: everything that is off, each with its field.
    """
    wrong = {
        name: "Choose one of the list."
        for name, choices in (("kind", Kind), ("severity", Severity), ("cause", Cause))
        if getattr(told, name) not in choices.values
    }
    if not told.words.strip():
        wrong["words"] = "Enter what happened."
    if not is_aware(told.happened_at) or not now - OLDEST <= told.happened_at <= now:
        wrong["happened_at"] = "Enter when it happened: not in the future, and at most two years ago."
    rider_id = told.rider_id
    if told.outing_id is not None:
        outing = Outing.objects.filter(station_id=station_id, pk=told.outing_id).first()
        if outing is None:
            wrong["outing_id"] = "Choose an outing of this station."
        else:
            rider_id = rider_id or outing.rider_id
    if rider_id is not None and not Rider.objects.filter(station_id=station_id, pk=rider_id).exists():
        wrong["rider_id"] = "Choose a rider known here."
    for name, most in (("words", WORDS), ("witness", WITNESS), ("place", PLACE)):
        if len(getattr(told, name)) > most:
            wrong[name] = f"Enter at most {most} characters."
    if wrong:
        raise UnableToTell(next(iter(wrong.values())), fields=wrong)
    return Told(
        kind=told.kind,
        severity=told.severity,
        cause=told.cause,
        happened_at=told.happened_at,
        words=told.words.strip(),
        place=told.place.strip(),
        witness=told.witness.strip(),
        outing_id=told.outing_id,
        rider_id=rider_id,
    )


def _told(telling: Telling) -> Told:
    return Told(**{field.name: getattr(telling, field.name) for field in fields(Told)})


@inside_write
def _tell(actor: Actor, incident: Incident, told: Told, *, version: int, why: str, now: datetime) -> Telling:
    return Telling.objects.create(
        incident=incident,
        version=version,
        at=now,
        by_id=actor.person_id,
        why=why[:WHY],
        weather=queries.weather_then(incident.station, told.happened_at),
        **asdict(told),
    )


@inside_write
def _hold_back(
    actor: Actor, act: Act, incident: Incident, telling: Telling, item_ids: Collection[int], now: datetime
) -> None:
    wanted = sorted(set(item_ids))
    items = list(Item.objects.filter(station_id=incident.station_id, pk__in=wanted).order_by("pk"))
    if len(items) < len(wanted) or len(wanted) > MOST_ITEMS:
        raise UnableToTell.at("items", f"Choose items of this station, at most {MOST_ITEMS}.")
    IncidentItem.objects.bulk_create(IncidentItem(incident=incident, item=item, at=now) for item in items)
    bench.hold_for_inspection(
        actor=actor,
        act=act,
        items=items,
        why=f"Held back: incident {incident.pk}, {telling.get_kind_display()}",
        outing=telling.outing,
        now=now,
    )


def _record(actor: Actor, act: Act, incident: Incident, telling: Telling, text: str, now: datetime) -> None:
    lines = [journal.Line("incident", incident.pk, text, {"version": telling.version})]
    if telling.outing_id is not None:
        lines.append(journal.Line("outing", telling.outing_id, f"Incident {incident.pk}: {_named(telling)}"))
    journal.record(actor=actor, act=act, station_id=incident.station_id, lines=lines, now=now)


def _named(telling: Telling) -> str:
    return f"{telling.get_kind_display()}, {telling.get_severity_display()}"


def _visible(actor: Actor, incident_id: int) -> Incident:
    """Return an incident, locked, so that of two who correct or close it one waits for the other."""
    incidents = Incident.objects.visible_to(actor).select_related("station").select_for_update(of=("self",))
    incident = incidents.filter(pk=incident_id).first()
    if incident is None:
        raise NotVisible("There is no such incident here.")
    return incident
