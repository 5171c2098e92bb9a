"""What is done about riders on the water: seen, extended, kit swapped, heads counted, everybody called in."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from rentals.afloat import queries
from rentals.afloat.models import FURTHEST_M, MOST_HEADS, HeadCount, PhaseChange, Recall, Sighting
from rentals.afloat.services.launching import land
from rentals.afloat.services.watching import raise_phases
from rentals.audit import services as journal
from rentals.bookings import queries as bookings_queries
from rentals.bookings import services as bookings
from rentals.bookings.models import LONGEST_OUTING, KitPart, Outing
from rentals.bookings.states import OutingState
from rentals.fleet import services as fleet
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, Refused
from rentals.lib.writes import inside_write, write
from rentals.stations.models import Station
from rentals.takings import services as takings
from rigging import checks

LONGEST_EXTENSION_MIN = 180
SHOWN_NEXT = timedelta(hours=2)
SHORTEST_REST = timedelta(minutes=5)
LONGEST_NOTE = 200
GATES_AHEAD = ("daylight", "lightning", "wind_ahead")
"""Gates that a later due time is held against."""


class UnableToSee(Refused):
    """A sighting that does not hold together."""

    slug = "sighting-refused"
    title = "Check the sighting"


class NotAfloat(Conflict):
    """The rider is not on the water."""

    slug = "not-afloat"
    title = "Not on the water"


class UnableToExtend(Refused):
    """Something stands against a later due time."""

    slug = "extend-refused"
    title = "Not extended"


class UnableToCount(Refused):
    """A count that cannot be."""

    slug = "head-count-refused"
    title = "Check the count"


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What somebody saw: in trouble or not, and where, by compass bearing and distance from the station."""

    in_trouble: bool = False
    bearing_deg: float | None = None
    distance_m: float | None = None
    note: str = ""


@write
def see(*, actor: Actor, outing_id: int, seen: Seen, once: UUID | None = None, now: datetime) -> Sighting:
    """Log a rider seen on the water. One seen in trouble is in distress at once, due or not.

    Raises:
        NotAfloat: the rider is not on the water.
        UnableToSee: a bearing without a distance, or one that cannot be.
    """
    station_id = bookings_queries.station_of(actor, outing_id)
    actor.require(Act.SEE, station_id=station_id)
    # The station before the outing, in the order of the watch, so that neither waits for the other for ever.
    Station.objects.locked(station_id)
    outing = bookings.visible_outing(actor, outing_id)
    asked = [outing_id, seen.in_trouble, seen.bearing_deg, seen.distance_m, seen.note]
    claim = journal.claim(actor=actor, act=Act.SEE, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Sighting.objects.get(pk=claim.result_id)
    _require_afloat(outing)
    _check_place(seen)
    sighting = Sighting.objects.create(
        outing=outing,
        at=now,
        by_id=actor.person_id,
        in_trouble=seen.in_trouble,
        bearing_deg=seen.bearing_deg,
        distance_m=seen.distance_m,
        note=seen.note.strip()[:LONGEST_NOTE],
    )
    text = f"{outing.rider} seen{' IN TROUBLE' if seen.in_trouble else ''}"
    if seen.bearing_deg is not None and seen.distance_m is not None:
        text += f" at {seen.bearing_deg:.0f}°, {seen.distance_m:.0f} m"
    line = journal.Line("outing", outing.pk, f"{text}. {sighting.note}".strip())
    journal.record(actor=actor, act=Act.SEE, station_id=station_id, lines=[line], now=now)
    if seen.in_trouble:
        due = outing.station.local(outing.ends_at)
        result = checks.phase(due, now, outing.station.phase_minutes, sighted_in_trouble=True)
        raise_phases(actor, outing, result.phase, result.reason.text, now=now)
    journal.settle(claim, sighting.pk)
    return sighting


@dataclass(frozen=True, slots=True)
class Extended:
    """An outing with its later due time, and in words who has its kit next and what was charged."""

    outing: Outing
    words: str


@write
def extend(
    *, actor: Actor, outing_id: int, minutes: int, reason: str = "", once: UUID | None = None, now: datetime
) -> Extended:
    """Give a rider on the water a later due time: kit, rider, light and wind must allow it.

    The next one to have the kit is told in their outing's journal. A phase that was raised has first to be
    answered by a sighting: a later due time must not silence the search for somebody who is missing.

    Raises:
        NotAfloat: the rider is not on the water.
        UnableToExtend: what stands against it; a soft gate takes a reason.
        UnableToHold: somebody else has the kit then.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.EXTEND, station_id=outing.station_id)
    asked = [outing_id, minutes, reason]
    claim = journal.claim(actor=actor, act=Act.EXTEND, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Extended(outing, _next_words(outing))
    _require_afloat(outing)
    if not 1 <= minutes <= LONGEST_EXTENSION_MIN:
        raise UnableToExtend.at("minutes", f"Enter 1 to {LONGEST_EXTENSION_MIN} minutes.")
    _require_seen(outing)
    before = outing.ends_at
    outing.ends_at = max(before, now) + timedelta(minutes=minutes)
    _require_span(outing)
    opened = _require_gates(outing, reason.strip(), now)
    charged = _charge(actor, outing, before, now)
    turn_round = timedelta(minutes=outing.station.turn_round_min)
    parts = KitPart.objects.filter(outing=outing).with_rider()
    fleet.lengthen_holds(
        hold_ids=list(parts.values_list("hold_id", flat=True)), until=outing.ends_at + turn_round
    )
    bookings.keep(outing)
    due = f"{outing.station.local(outing.ends_at):%H:%M}"
    text = f"Extended from {outing.station.local(before):%H:%M} to {due}.{opened}"
    lines = [journal.Line("outing", outing.pk, text)]
    lines += [
        journal.Line("outing", part.outing_id, f"{part.item.tag} is with {outing.rider} until {due}, longer")
        for part in _next_parts(outing)
    ]
    journal.record(actor=actor, act=Act.EXTEND, station_id=outing.station_id, lines=lines, now=now)
    journal.settle(claim, outing.pk)
    return Extended(outing, " ".join(filter(None, (_next_words(outing), charged))))


@write
def swap_kit(*, actor: Actor, outing_id: int, once: UUID | None = None, now: datetime) -> Outing:
    """Note a rider ashore to change kit, and give the time that is left to an outing of its own.

    So each kit has its own launch check, its own hours and its own return check.

    Returns:
        The new outing, booked and without kit; the old one waits for its return check.

    Raises:
        NotAfloat: the rider is not on the water.
        UnableToExtend: hardly any time is left; extend it first.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.SWAP_KIT, station_id=outing.station_id)
    claim = journal.claim(actor=actor, act=Act.SWAP_KIT, key=once, asked=[outing_id], now=now)
    if claim.result_id is not None:
        return bookings.visible_outing(actor, claim.result_id)
    _require_afloat(outing)
    if outing.ends_at - now < SHORTEST_REST:
        raise UnableToExtend("Hardly any time is left. Extend it first, then swap the kit.")
    land(actor=actor, act=Act.SWAP_KIT, outing=outing, now=now)
    rest = _rest_of(outing, now)
    # The rider may go on with parts of the old kit at once; what is not back yet nobody is offered.
    parts = KitPart.objects.filter(outing=outing).with_rider()
    fleet.shorten_holds(hold_ids=list(parts.values_list("hold_id", flat=True)), until=rest.starts_at)
    lines = [
        journal.Line("outing", outing.pk, "Ashore to swap kit; the time that is left has its own outing"),
        journal.Line("outing", rest.pk, f"{outing.rider} goes on with other kit, from outing {outing.pk}"),
    ]
    journal.record(actor=actor, act=Act.SWAP_KIT, station_id=outing.station_id, lines=lines, now=now)
    journal.settle(claim, rest.pk)
    return rest


@write
def count_heads(
    *, actor: Actor, station_id: int, counted: int, once: UUID | None = None, now: datetime
) -> HeadCount:
    """Log how many riders were counted on the water, beside how many the log has there.

    Raises:
        UnableToCount: a number that cannot be.
    """
    actor.require(Act.COUNT_HEADS, station_id=station_id)
    claim = journal.claim(actor=actor, act=Act.COUNT_HEADS, key=once, asked=[station_id, counted], now=now)
    if claim.result_id is not None:
        return HeadCount.objects.get(pk=claim.result_id)
    if not 0 <= counted <= MOST_HEADS:
        raise UnableToCount.at("counted", f"Enter 0 to {MOST_HEADS} riders.")
    logged = Outing.objects.afloat().filter(station_id=station_id).count()
    count = HeadCount.objects.create(
        station_id=station_id, at=now, by_id=actor.person_id, counted=counted, logged=logged
    )
    agrees = "as logged" if counted == logged else f"but {logged} logged afloat"
    line = journal.Line("station", station_id, f"Head count: {counted} on the water, {agrees}")
    journal.record(actor=actor, act=Act.COUNT_HEADS, station_id=station_id, lines=[line], now=now)
    journal.settle(claim, count.pk)
    return count


@write
def recall(
    *, actor: Actor, station_id: int, reason: str = "", once: UUID | None = None, now: datetime
) -> Recall:
    """Call everybody ashore; nobody launches until it is lifted. A second tap finds the first."""
    actor.require(Act.RECALL, station_id=station_id)
    claim = journal.claim(actor=actor, act=Act.RECALL, key=once, asked=[station_id, reason], now=now)
    if claim.result_id is not None:
        return Recall.objects.get(pk=claim.result_id)
    Station.objects.locked(station_id)
    called = Recall.objects.filter(station_id=station_id, lifted_at=None).first()
    if called is None:
        called = Recall.objects.create(
            station_id=station_id, at=now, by_id=actor.person_id, reason=reason.strip()[:LONGEST_NOTE]
        )
        out = list(Outing.objects.afloat().filter(station_id=station_id).values_list("pk", flat=True))
        lines = [
            journal.Line("station", station_id, f"Recall: all ashore, {len(out)} afloat. {called.reason}")
        ]
        lines += [journal.Line("outing", outing_id, "Called ashore with everybody") for outing_id in out]
        journal.record(actor=actor, act=Act.RECALL, station_id=station_id, lines=lines, now=now)
    journal.settle(claim, called.pk)
    return called


@write
def lift_recall(*, actor: Actor, station_id: int, now: datetime) -> bool:
    """Let riders launch again; lifting twice changes nothing.

    Returns:
        Whether there was a recall to lift.
    """
    actor.require(Act.LIFT_RECALL, station_id=station_id)
    called = Recall.objects.filter(station_id=station_id, lifted_at=None)
    lifted = bool(called.update(lifted_at=now, lifted_by_id=actor.person_id))
    if lifted:
        line = journal.Line("station", station_id, "Recall lifted")
        journal.record(actor=actor, act=Act.LIFT_RECALL, station_id=station_id, lines=[line], now=now)
    return lifted


def _rest_of(outing: Outing, now: datetime) -> Outing:
    """End an outing now, and promise its rider the time that was left as another one, booked."""
    until = outing.ends_at
    outing.starts_at = min(outing.starts_at, outing.launched_at or outing.starts_at)
    outing.ends_at = max(now, outing.starts_at + timedelta(minutes=1))
    bookings.keep(outing)
    rest = Outing(
        station=outing.station,
        booking=outing.booking,
        rider=outing.rider,
        starts_at=outing.ends_at,
        ends_at=until,
    )
    return bookings.keep(rest)


def _require_afloat(outing: Outing) -> None:
    if outing.state != OutingState.AFLOAT:
        raise NotAfloat(f"{outing.rider} is {outing.state.replace('_', ' ')}, not afloat. Reload the page.")


def _check_place(seen: Seen) -> None:
    if (seen.bearing_deg is None) != (seen.distance_m is None):
        field = "bearing_deg" if seen.bearing_deg is None else "distance_m"
        raise UnableToSee.at(field, "Enter bearing and distance both, or neither.")
    if seen.bearing_deg is not None and not 0 <= seen.bearing_deg < 360:
        raise UnableToSee.at("bearing_deg", "Enter a bearing from 0 to 359 degrees.")
    if seen.distance_m is not None and not 0 <= seen.distance_m <= FURTHEST_M:
        raise UnableToSee.at("distance_m", f"Enter 0 to {FURTHEST_M} m.")


def _require_seen(outing: Outing) -> None:
    """Refuse a later due time for somebody whose lateness was raised and who was not seen well since."""
    raised = PhaseChange.objects.filter(outing=outing, due_at=outing.ends_at).order_by("-raised_at").first()
    if raised is None:
        return
    newest = Sighting.objects.filter(outing=outing).order_by("-at", "-id").first()
    if newest is None or newest.at < raised.raised_at or newest.in_trouble:
        raise UnableToExtend(
            f"{outing.rider} is overdue ({raised.phase}) and was not seen well since. "
            "See the rider and log it first."
        )


@inside_write
def _charge(actor: Actor, outing: Outing, before: datetime, now: datetime) -> str:
    """Charge what the later due time costs more by the station's rule; return what to say of it."""
    later, outing.ends_at = outing.ends_at, before
    charge = takings.charge_extension(actor=actor, act=Act.EXTEND, outing=outing, ends_at=later, now=now)
    outing.ends_at = later
    return f"Charged {charge.gross} more." if charge else ""


def _require_span(outing: Outing) -> None:
    station = outing.station
    last = station.local(outing.ends_at)
    closes = last.replace(hour=station.closes.hour, minute=station.closes.minute, second=0, microsecond=0)
    if last > closes or last.date() != station.local(outing.starts_at).date():
        raise UnableToExtend.at("minutes", f"{station.name} closes at {station.closes:%H:%M}.")
    if outing.ends_at - outing.starts_at > LONGEST_OUTING:
        raise UnableToExtend.at("minutes", "An outing is at most twelve hours long.")


def _require_gates(outing: Outing, reason: str, now: datetime) -> str:
    """Hold the later due time against light, lightning and wind; return what a reason opened, in words."""
    judged = queries.launch_sheet(outing, ticked=None, now=now).gates
    shut = [gate for gate in judged if gate.name in GATES_AHEAD and not gate.passed]
    hard = [gate for gate in shut if gate.hard]
    if hard:
        raise UnableToExtend.at("minutes", " ".join(gate.text for gate in hard))
    if shut and not reason:
        said = " ".join(gate.text for gate in shut)
        raise UnableToExtend.at("reason", f"{said} Enter your reason to extend all the same.")
    return "".join(f" {gate.text} Let go on because: {reason}" for gate in shut)


def _next_parts(outing: Outing) -> list[KitPart]:
    """Who has an item of this outing next, soon after its due time."""
    mine = KitPart.objects.filter(outing=outing).with_rider().values("item_id")
    return list(
        KitPart.objects.filter(
            item__in=mine,
            hold__live=True,
            hold__starts_at__gte=outing.ends_at,
            hold__starts_at__lt=outing.ends_at + SHOWN_NEXT,
        )
        .to_issue()
        .exclude(outing=outing)
        .select_related("item", "outing__rider")
        .order_by("hold__starts_at", "item__tag")
    )


def _next_words(outing: Outing) -> str:
    parts = _next_parts(outing)
    said = [
        f"{part.item.tag} for {part.outing.rider} at {outing.station.local(part.outing.starts_at):%H:%M}"
        for part in parts
    ]
    return f"Next with this kit: {'; '.join(said)}. Tell them." if said else ""
