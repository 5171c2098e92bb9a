"""The watch over who is overdue: raising phases once, telling them until somebody takes them on."""

import json
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.db.models import F

from rentals.afloat import queries
from rentals.afloat.models import PHASES, Acknowledgement, Escalation, PhaseChange, WatchContact
from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.models import Outing
from rentals.lib.access import Act, Actor, System
from rentals.lib.writes import inside_write, write
from rentals.mail import services as mail
from rentals.stations.models import Station
from rentals.weather import queries as weather
from rigging import checks


@write
def watch(*, actor: Actor, station_id: int, now: datetime) -> int:
    """Raise every overdue phase begun at a station, escalate what nobody takes on, note the beat.

    However many workers look, a phase is one row: they wait for each other at the station's row, and the
    database refuses a second one. Where this fails nothing is noted, and the missing beat shows.

    Returns:
        How many riders are late.
    """
    actor.require_system(System.WATCH)
    station = Station.objects.locked(station_id)
    late = raise_begun(actor, station, now)
    escalate(actor, station, now)
    _tell_gap(actor, station, now)
    Station.objects.filter(pk=station.pk).update(watched_at=now)
    return late


@write
def look(*, actor: Actor, station_id: int, now: datetime) -> int:
    """Raise what has begun, as `watch` does, for a page that was looked at before the worker came round.

    The beat is not noted: a page must not hide that the watch itself has stopped.
    """
    actor.require_system(System.WATCH)
    station = Station.objects.locked(station_id)
    return raise_begun(actor, station, now)


@write
def acknowledge(*, actor: Actor, outing_id: int, now: datetime) -> int:
    """Take on every phase raised of an outing, by name; escalation stops until the next phase.

    Returns:
        How many phases were taken on; none when a colleague was quicker.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.ACKNOWLEDGE, station_id=outing.station_id)
    waiting = list(PhaseChange.objects.filter(outing=outing, acknowledged=None))
    for change in waiting:
        Acknowledgement.objects.create(change=change, by_id=actor.person_id, at=now)
    if waiting:
        phases = ", ".join(change.phase for change in waiting)
        line = journal.Line("outing", outing.pk, f"{actor.name} has taken on: {phases}")
        journal.record(actor=actor, act=Act.ACKNOWLEDGE, station_id=outing.station_id, lines=[line], now=now)
    return len(waiting)


@dataclass(frozen=True, slots=True)
class _Raised:
    """A phase of an outing, just raised or told again."""

    station: Station
    outing: Outing
    change: PhaseChange
    why: str

    @property
    def event(self) -> str:
        """The key of the event, the same in the letter and in the call."""
        due = self.change.due_at.astimezone(UTC)
        return f"overdue:{self.outing.pk}:{self.change.phase}:{due:%Y%m%dT%H%M%SZ}"

    @property
    def headline(self) -> str:
        """What a subject line says."""
        due = self.station.local(self.change.due_at)
        return f"{self.change.phase.capitalize()}: {self.outing.rider} was due {due:%H:%M}"


@inside_write
def raise_begun(actor: Actor, station: Station, now: datetime) -> int:
    """Raise the phases that have begun of everybody overdue at a station whose row is locked."""
    # Locked as well, so that who comes ashore meanwhile is not called late.
    outings = list(
        Outing.objects.afloat()
        .filter(station=station, ends_at__lt=now)
        .select_related("station", "rider", "booking__party")
        .select_for_update(of=("self",))
        .order_by("pk")
    )
    if not outings:
        return 0
    beach = queries.beach_now(station, now=now)
    hours = weather.hours_between(station, min(outing.starts_at for outing in outings), now)
    raised = queries.reached(outings)
    judged = queries.lateness(outings, station, beach=beach, hours=hours, raised=raised, now=now)
    for state in judged:
        raise_phases(actor, state.outing, state.result.phase, state.result.reason.text, now=now)
    return sum(state.result.phase is not checks.Phase.ON_TIME for state in judged)


@inside_write
def raise_phases(actor: Actor, outing: Outing, phase: checks.Phase, why: str, *, now: datetime) -> None:
    """Raise every phase up to one that was not raised yet for an outing's due time; the station is locked."""
    there = set(
        PhaseChange.objects.filter(outing=outing, due_at=outing.ends_at).values_list("phase", flat=True)
    )
    for word in PHASES:
        if word in there or checks.Phase(word).rank > phase.rank:
            continue
        change = PhaseChange.objects.create(outing=outing, phase=word, raised_at=now, due_at=outing.ends_at)
        told = _Raised(outing.station, outing, change, why)
        _tell(told, told.event, [outing.station.watch_email], told.headline, "outing.overdue", now)
        line = journal.Line("outing", outing.pk, f"Overdue: {word}. {why}")
        journal.record(actor=actor, act=System.WATCH, station_id=outing.station_id, lines=[line], now=now)


@inside_write
def escalate(actor: Actor, station: Station, now: datetime) -> None:
    """Tell the next contact of each outing's newest phase that nobody has taken on in time."""
    contacts = list(WatchContact.objects.filter(station=station).order_by("place"))
    for change in _not_taken_on(station):
        told_at = [change.raised_at, *(each.at for each in change.escalations.all())]
        # A clock set back must not silence the next call: time away in either direction counts.
        if abs(now - told_at[-1]) < timedelta(minutes=station.acknowledge_min):
            continue
        step = len(told_at)
        Escalation.objects.create(change=change, step=step, at=now)
        whom, to = _next_contacts(station, contacts, step)
        outing = change.outing
        why = f"Nobody has taken this on since {station.local(change.raised_at):%H:%M}. Told now: {whom}."
        told = _Raised(station, outing, change, why)
        subject = f"URGENT, call {step + 1}. {told.headline}"
        _tell(told, f"{told.event}:step{step}", to, subject, "outing.overdue.escalated", now)
        line = journal.Line("outing", outing.pk, f"Overdue: {change.phase}, call {step + 1}. {why}")
        journal.record(actor=actor, act=System.WATCH, station_id=station.pk, lines=[line], now=now)


def _not_taken_on(station: Station) -> Iterable[PhaseChange]:
    """The newest phase of each outing on the water that is not taken on, for its due time."""
    waiting = (
        PhaseChange.objects.filter(
            outing__station=station, outing__state="afloat", due_at=F("outing__ends_at"), acknowledged=None
        )
        .select_related("outing__station", "outing__rider", "outing__booking__party")
        .prefetch_related("escalations")
        .order_by("pk")
    )
    return {change.outing_id: change for change in waiting}.values()


def _next_contacts(
    station: Station, contacts: Sequence[WatchContact], step: int
) -> tuple[str, Collection[str]]:
    """Who is told at a step: one contact after the other, then all of them each time."""
    if step <= len(contacts):
        contact = contacts[step - 1]
        return contact.name, [contact.email]
    names = ["the station's watch", *(contact.name for contact in contacts)]
    return ", ".join(names), [station.watch_email, *(contact.email for contact in contacts)]


def _tell(told: _Raised, event: str, to: Collection[str], subject: str, kind: str, now: datetime) -> None:
    """Put the letters and the call of one event into the outbox, in the transaction that raised it."""
    for place, address in enumerate(dict.fromkeys(to)):
        key = event if place == 0 else f"{event}:to{place}"
        mail.write_letter(event=key, to=address, subject=subject, body=_letter(told, event), now=now)
    mail.write_call(station_id=told.station.pk, event=event, body=_call(told, kind, now), now=now)


def _letter(told: _Raised, event: str) -> str:
    station, outing, phase = told.station, told.outing, checks.Phase(told.change.phase)
    party = outing.booking.party
    return (
        f"{outing.rider} ({outing.rider.level}) went afloat at {station.name} at "
        f"{station.local(outing.launched_at or outing.starts_at):%H:%M} and was due at "
        f"{station.local(told.change.due_at):%H:%M}.\n\n{told.why}\n\nDo now: {checks.ACTIONS[phase]}\n\n"
        f"Rider's phone: {outing.rider.phone or 'not given'}. "
        f"Party: {party.contact_name} {party.contact_phone}.\n"
        f"Rescue service: {station.rescue_number}.\n\n"
        f"Open the Afloat page and take it on by name, or it is told to the next contact.\n\n"
        f"{checks.RESCUE_FIRST}\n\nEvent {event}\n"
    )


def _call(told: _Raised, kind: str, now: datetime) -> str:
    """The body of a call: who is late and how, no phone number, no medical word."""
    outing = told.outing
    data = {
        "station": told.station.slug,
        "outing_id": outing.pk,
        "rider": str(outing.rider),
        "level": outing.rider.level,
        "phase": told.change.phase,
        "due_at": told.station.local(told.change.due_at).isoformat(),
        "raised_at": told.station.local(told.change.raised_at).isoformat(),
        "why": told.why,
        "do_now": checks.ACTIONS[checks.Phase(told.change.phase)],
    }
    return json.dumps({"type": kind, "timestamp": now.astimezone(UTC).isoformat(), "data": data})


def _tell_gap(actor: Actor, station: Station, now: datetime) -> None:
    """Say what the watch missed when it comes back, or that the clock went back under it."""
    before = station.watched_at
    if before is None or abs(now - before) <= queries.MISSED_AFTER:
        return
    afloat = Outing.objects.afloat().filter(station=station).count()
    since, until = (f"{station.local(moment):%H:%M:%S}" for moment in (before, now))
    if now > before:
        minutes = (now - before) / timedelta(minutes=1)
        text = f"The watch did not look from {since} to {until} ({minutes:.0f} min)."
    else:
        text = f"The clock went back from {since} to {until}; due times are judged by the new one."
    text += f" Afloat now: {afloat}; whoever became late meanwhile is raised now."
    line = journal.Line("station", station.pk, text, {"from": before.isoformat(), "until": now.isoformat()})
    journal.record(actor=actor, act=System.WATCH, station_id=station.pk, lines=[line], now=now)
    if afloat:
        event = f"watch-away:{station.pk}:{before.astimezone(UTC):%Y%m%dT%H%M%S}"
        body = f"{text}\n\nCount heads on the water now, against the Afloat page.\n\n{checks.RESCUE_FIRST}\n"
        subject = f"{station.name}: the watch was away while riders were afloat"
        mail.write_letter(event=event, to=station.watch_email, subject=subject, body=body, now=now)
