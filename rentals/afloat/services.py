"""Logging the beach and launch checks, letting riders go, noting them ashore, and the watch over the late."""

from collections import defaultdict
from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from rentals.afloat import queries
from rentals.afloat.models import MOST_INSTRUCTORS, PHASES, WATER_C, BeachLog, LaunchCheck, PhaseChange
from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import OutingEvent, OutingState
from rentals.lib.access import Act, Actor, System
from rentals.lib.problems import Refused
from rentals.lib.writes import inside_write, write
from rentals.mail import services as mail
from rentals.stations.models import Station
from rentals.weather import queries as weather
from rentals.weather import services as weather_services
from rentals.weather.formats.reading import Reading
from rentals.weather.models import Kind as WeatherKind
from rigging import checks

HAND_HEIGHT_M = 2.0
HAND_AVERAGING_S = 120


class UnableToLaunch(Refused):
    """A gate stands between the rider and the water."""

    slug = "launch-refused"
    title = "Not yet"


class UnableToLogBeach(Refused):
    """The beach log does not hold together."""

    slug = "beach-log-refused"
    title = "Check the beach log"


@dataclass(frozen=True, slots=True, kw_only=True)
class BeachEntry:
    """The beach as somebody found it; winds in m/s at head height, None where not measured."""

    safety_boat_manned: bool
    instructors: int
    lightning: bool
    water_c: float | None = None
    mean_ms: float | None = None
    gust_ms: float | None = None
    from_deg: float | None = None


@write
def log_beach(*, actor: Actor, station_id: int, entry: BeachEntry, now: datetime) -> BeachLog:
    """Log how the beach stands, and the wind measured on it.

    Raises:
        UnableToLogBeach: a wind that could not blow, a gust without its mean, water or crew out of range.
    """
    actor.require(Act.ENTER_WEATHER, station_id=station_id)
    wrong = _beach_faults(entry)
    if wrong:
        raise UnableToLogBeach(next(iter(wrong.values())), fields=wrong)
    log = BeachLog.objects.create(
        station_id=station_id,
        at=now,
        by_id=actor.user_id,
        safety_boat_manned=entry.safety_boat_manned,
        instructors=entry.instructors,
        water_c=entry.water_c,
        lightning=entry.lightning,
    )
    if entry.mean_ms is not None:
        reading = Reading(
            at=now,
            mean_ms=entry.mean_ms,
            gust_ms=entry.gust_ms,
            from_deg=entry.from_deg,
            height_m=HAND_HEIGHT_M,
            averaging_s=HAND_AVERAGING_S,
            water_c=entry.water_c,
        )
        weather_services.keep_readings(
            actor=actor,
            act=Act.ENTER_WEATHER,
            station_id=station_id,
            kind=WeatherKind.HAND,
            readings=[reading],
            now=now,
        )
    text = "Lightning or thunder logged: everybody ashore" if entry.lightning else "Logged the beach"
    line = journal.Line(
        "station", station_id, text, {"instructors": entry.instructors, "water_c": entry.water_c}
    )
    journal.record(actor=actor, act=Act.ENTER_WEATHER, station_id=station_id, lines=[line], now=now)
    return log


@write
def check_launch(
    *,
    actor: Actor,
    outing_id: int,
    kit_no: int,
    ticked: frozenset[str],
    overrides: Mapping[str, str],
    note: str = "",
    launch: bool = False,
    once: UUID | None = None,
    now: datetime,
) -> LaunchCheck:
    """Log a launch check; when every gate is open the outing is cleared, and with `launch` afloat.

    A check that did not pass is logged too: the journal keeps what stood against it.

    Args:
        actor: the instructor.
        outing_id: which outing.
        kit_no: the kit that was looked at, so that a kit swapped meanwhile is not cleared unseen.
        ticked: keys of the points that passed.
        overrides: soft gate to the instructor's reason.
        note: anything worth keeping.
        launch: let the rider go at once when the check passes.
        once: the form's own key.
        now: the moment.

    Raises:
        UnableToLaunch: the kit is not issued, or was swapped meanwhile.
        UnableToMoveOuting: the outing is past launching.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.CHECK_LAUNCH, station_id=outing.station_id)
    assert actor.user_id is not None  # noqa: S101 - a role at a station is a person's
    asked = [outing_id, kit_no, sorted(ticked), dict(overrides), note, launch]
    claim = journal.claim(actor=actor, act=Act.CHECK_LAUNCH, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return LaunchCheck.objects.get(pk=claim.result_id)
    _require_issued(outing, kit_no)
    if outing.state not in (OutingState.KITTED, OutingState.CLEARED):
        state = outing.state.replace("_", " ")
        raise bookings.UnableToMoveOuting(f"The outing is {state}; there is nothing to check now.")
    sheet = queries.launch_sheet(outing, ticked=ticked, now=now)
    reasons = {name: reason.strip() for name, reason in overrides.items() if reason.strip()}
    passed = checks.may_launch(sheet.gates, reasons)
    check = LaunchCheck.objects.create(
        outing=outing,
        kit_no=kit_no,
        at=now,
        by_id=actor.user_id,
        passed=passed,
        points=[{"key": key, "text": text, "passed": key in ticked} for key, text in sheet.points],
        gates=[_logged(gate) for gate in sheet.gates],
        overrides=reasons,
        note=note.strip(),
    )
    said = _said(sheet.gates, passed, reasons)
    lines = [journal.Line("outing", outing.pk, f"Launch check {said}", {"overrides": reasons})]
    lines += [journal.Line("item", part.item_id, f"Launch check {said}") for part in sheet.kit]
    journal.record(actor=actor, act=Act.CHECK_LAUNCH, station_id=outing.station_id, lines=lines, now=now)
    if passed:
        bookings.move_outing(outing, OutingEvent.CLEAR)
        if launch:
            _let_go(actor, outing, now)
    journal.settle(claim, check.pk)
    return check


@write
def launch(*, actor: Actor, outing_id: int, now: datetime) -> Outing:
    """Let a cleared rider go afloat, if every gate is still open.

    Raises:
        UnableToLaunch: a gate has closed since the check; the message says which.
        UnableToMoveOuting: not cleared.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.LAUNCH, station_id=outing.station_id)
    if outing.state == OutingState.AFLOAT:
        return outing
    check = LaunchCheck.objects.filter(outing=outing, kit_no=outing.kit_no).order_by("-id").first()
    if check is None or not check.passed:
        raise UnableToLaunch("Log a launch check for this kit first; the newest one must have passed.")
    ticked = frozenset(point["key"] for point in check.points if point["passed"])
    sheet = queries.launch_sheet(outing, ticked=ticked, now=now)
    if not checks.may_launch(sheet.gates, check.overrides):
        shut = " ".join(
            gate.text for gate in sheet.gates if not gate.passed and gate.name not in check.overrides
        )
        raise UnableToLaunch(f"Something has changed since the check. {shut}")
    _let_go(actor, outing, now)
    return outing


@write
def call_ashore(*, actor: Actor, outing_id: int, now: datetime) -> Outing:
    """Note that a rider is back on the beach; saying it twice changes nothing.

    Raises:
        UnableToMoveOuting: the rider was not afloat.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.CALL_ASHORE, station_id=outing.station_id)
    if outing.state in (OutingState.ASHORE, OutingState.CLOSED):
        return outing
    land(actor=actor, act=Act.CALL_ASHORE, outing=outing, now=now)
    return outing


@write
def call_back_afloat(*, actor: Actor, outing_id: int, now: datetime) -> Outing:
    """Take a mistaken 'ashore' back, so that the watch goes on over a rider who is still out.

    Raises:
        UnableToMoveOuting: the rider was not noted ashore, or the kit is back already.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.CALL_ASHORE, station_id=outing.station_id)
    bookings.move_outing(outing, OutingEvent.UNLAND, ashore_at=None)
    line = journal.Line("outing", outing.pk, f"{outing.rider} is still afloat: noted ashore by mistake")
    journal.record(actor=actor, act=Act.CALL_ASHORE, station_id=outing.station_id, lines=[line], now=now)
    return outing


@inside_write
def land(*, actor: Actor, act: Act, outing: Outing, now: datetime) -> None:
    """Move an outing from afloat to ashore, within a write; a clock set back cannot land before launch."""
    at = max(now, outing.launched_at or now)
    bookings.move_outing(outing, OutingEvent.LAND, ashore_at=at)
    line = journal.Line("outing", outing.pk, f"{outing.rider} is ashore")
    journal.record(actor=actor, act=act, station_id=outing.station_id, lines=[line], now=now)


@write
def watch(*, actor: Actor, now: datetime) -> int:
    """Raise every overdue phase that has begun and was not raised yet; return how many outings are late.

    However many workers look, a phase is one row and its letter one row: both are unique.
    """
    actor.require_system(System.WATCH)
    by_station: defaultdict[int, list[Outing]] = defaultdict(list)
    for outing in (
        Outing.objects.afloat().filter(ends_at__lt=now).select_related("station", "rider", "booking__party")
    ):
        by_station[outing.station_id].append(outing)
    late = 0
    for outings in by_station.values():
        station = outings[0].station
        beach = queries.beach_now(station, now=now)
        first = min(outing.starts_at for outing in outings)
        hours = weather.hours_between(station, first, now)
        raised = set(PhaseChange.objects.filter(outing__in=outings).values_list("outing_id", "phase"))
        for state in queries.lateness(outings, station, beach=beach, hours=hours, now=now):
            late += _raise_phases(actor, station, state, raised, now)
    return late


def _said(gates: Iterable[checks.Gate], passed: bool, reasons: Mapping[str, str]) -> str:
    """Return how a check ended, with each gate that somebody's word opened."""
    shut = [gate for gate in gates if not gate.passed]
    if not passed:
        return "not passed: " + " ".join(gate.text for gate in shut)
    opened = [f"{gate.text} Let go because: {reasons[gate.name]}" for gate in shut]
    return " ".join(["passed" + (" against a gate." if opened else ""), *opened])


def _beach_faults(entry: BeachEntry) -> dict[str, str]:
    wrong = {}
    if entry.mean_ms is None and entry.gust_ms is not None:
        wrong["gust"] = "Enter the mean too, or leave the gusts empty."
    if entry.mean_ms is not None:
        wrong |= weather_services.wind_faults(
            mean_ms=entry.mean_ms, gust_ms=entry.gust_ms, from_deg=entry.from_deg
        )
    if entry.water_c is not None and not WATER_C[0] <= entry.water_c <= WATER_C[1]:
        wrong["water_c"] = f"Enter a water temperature between {WATER_C[0]} and {WATER_C[1]} °C."
    if not 0 <= entry.instructors <= MOST_INSTRUCTORS:
        wrong["instructors"] = f"Enter 0 to {MOST_INSTRUCTORS} instructors."
    return wrong


def _raise_phases(
    actor: Actor, station: Station, state: queries.Lateness, raised: Container[tuple[int, str]], now: datetime
) -> int:
    outing, result = state.outing, state.result
    begun = [phase for phase in PHASES if checks.Phase(phase).rank <= result.phase.rank]
    for phase in begun:
        if (outing.pk, phase) in raised:
            continue
        PhaseChange.objects.bulk_create(
            [PhaseChange(outing=outing, phase=phase, raised_at=now, due_at=outing.ends_at)],
            ignore_conflicts=True,
        )
        mail.write_letter(
            event=f"overdue:{outing.pk}:{phase}",
            to=station.watch_email,
            subject=f"{phase.capitalize()}: {outing.rider} was due {station.local(outing.ends_at):%H:%M}",
            body=_overdue_letter(station, outing, checks.Phase(phase), result.reason.text),
            now=now,
        )
        line = journal.Line("outing", outing.pk, f"Overdue: {phase}. {result.reason.text}")
        journal.record(actor=actor, act=System.WATCH, station_id=station.pk, lines=[line], now=now)
    return int(bool(begun))


def _overdue_letter(station: Station, outing: Outing, phase: checks.Phase, why: str) -> str:
    party = outing.booking.party
    return (
        f"{outing.rider} ({outing.rider.level}) went afloat at {station.name} at "
        f"{station.local(outing.launched_at or outing.starts_at):%H:%M} and was due at "
        f"{station.local(outing.ends_at):%H:%M}.\n\n{why}\n\nDo now: {checks.ACTIONS[phase]}\n\n"
        f"Rider's phone: {outing.rider.phone or 'not given'}. "
        f"Party: {party.contact_name} {party.contact_phone}.\n"
        f"Rescue service: {station.rescue_number}.\n\n{checks.RESCUE_FIRST}\n"
    )


def _let_go(actor: Actor, outing: Outing, now: datetime) -> None:
    actor.require(Act.LAUNCH, station_id=outing.station_id)
    bookings.move_outing(outing, OutingEvent.LAUNCH, launched_at=now)
    line = journal.Line(
        "outing", outing.pk, f"{outing.rider} is afloat, due {outing.station.local(outing.ends_at):%H:%M}"
    )
    journal.record(actor=actor, act=Act.LAUNCH, station_id=outing.station_id, lines=[line], now=now)


def _require_issued(outing: Outing, kit_no: int) -> None:
    if outing.kit_no != kit_no:
        raise UnableToLaunch("The kit was swapped while you checked. Look over the new kit.")
    waiting = KitPart.objects.filter(outing=outing).to_issue().exists()
    if kit_no == 0 or waiting:
        raise UnableToLaunch("Issue the kit before you check it.")


def _logged(gate: checks.Gate) -> dict[str, object]:
    return {
        "name": gate.name,
        "passed": gate.passed,
        "hard": gate.hard,
        "text": gate.text,
        "rule": gate.reason.rule,
    }
