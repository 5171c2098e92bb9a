"""Logging launch checks, letting riders go, and noting them ashore."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from uuid import UUID

from rentals.afloat import queries
from rentals.afloat.models import LaunchCheck, Recall
from rentals.afloat.services.late import keep_late, settle_late
from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import OutingEvent, OutingState
from rentals.checklists import queries as checklists
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, Refused
from rentals.lib.when import Arrival
from rentals.lib.writes import inside_write, write
from rigging import checks


class UnableToLaunch(Refused):
    """A gate stands between the rider and the water."""

    slug = "launch-refused"
    title = "Not yet"


class ListChanged(Conflict):
    """The check list was edited while somebody went through it."""

    slug = "check-list-changed"
    title = "The check list has changed"


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
    list_version: int | None = None,
    waited_s: int | None = None,
    once: UUID | None = None,
    now: datetime,
) -> LaunchCheck:
    """Log a launch check; when every gate is open the outing is cleared, and with `launch` afloat.

    A check that did not pass is logged too: the journal keeps what stood against it. Where a device had kept
    it, the rider may have gone on the strength of it, which is noted for the watch.

    Args:
        actor: the instructor.
        outing_id: which outing.
        kit_no: the kit that was looked at, so that a kit swapped meanwhile is not cleared unseen.
        ticked: keys of the points that passed.
        overrides: soft gate to the instructor's reason.
        note: anything worth keeping.
        launch: let the rider go at once when the check passes.
        list_version: of the check list that was gone through; None takes the one in force.
        waited_s: how long it waited on a device without a connection; the gates are judged when it comes.
        once: the form's own key.
        now: the moment.

    Raises:
        UnableToLaunch: the kit is not issued, or was swapped meanwhile.
        ListChanged: the list was edited meanwhile.
        UnableToMoveOuting: the outing is past launching.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.CHECK_LAUNCH, station_id=outing.station_id)
    assert actor.user_id is not None  # noqa: S101 - a role at a station is a person's
    asked = [outing_id, kit_no, sorted(ticked), dict(overrides), note, launch, list_version]
    claim = journal.claim(actor=actor, act=Act.CHECK_LAUNCH, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return LaunchCheck.objects.get(pk=claim.result_id)
    _require_issued(outing, kit_no)
    if outing.state not in (OutingState.KITTED, OutingState.CLEARED):
        state = outing.state.replace("_", " ")
        raise bookings.UnableToMoveOuting(f"The outing is {state}; there is nothing to check now.")
    sheet = queries.launch_sheet(outing, ticked=ticked, now=now)
    _require_same_list(sheet.listed, list_version)
    reasons = {name: reason.strip() for name, reason in overrides.items() if reason.strip()}
    passed, arrival = checks.may_launch(sheet.gates, reasons), Arrival.of(waited_s, now=now)
    check = LaunchCheck.objects.create(
        outing=outing,
        kit_no=kit_no,
        at=now,
        ticked_at=arrival.ticked_at,
        by_id=actor.user_id,
        passed=passed,
        points=_logged_points(sheet, ticked),
        gates=[_logged(gate) for gate in sheet.gates],
        overrides=reasons,
        note=note.strip(),
    )
    said = _said(sheet.gates, passed, reasons) + arrival.words(outing.station.zone)
    lines = [journal.Line("outing", outing.pk, f"Launch check {said}", {"overrides": reasons})]
    lines += [journal.Line("item", part.item_id, f"Launch check {said}") for part in sheet.kit]
    journal.record(actor=actor, act=Act.CHECK_LAUNCH, station_id=outing.station_id, lines=lines, now=now)
    if passed:
        bookings.move_outing(outing, OutingEvent.CLEAR)
        if launch:
            _let_go(actor, outing, now, at=arrival.at)
    elif waited_s is not None:
        keep_late(actor, outing, arrival, _stood_against(sheet, ticked), once=once, now=now)
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
    _let_go(actor, outing, now, at=now)
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
def land(*, actor: Actor, act: Act, outing: Outing, now: datetime, at: datetime | None = None) -> None:
    """Move an outing from afloat to ashore, within a write; nobody lands before they were launched.

    `at` is when it was noted, where a device kept it until now.
    """
    at = max(at or now, outing.launched_at or now)
    bookings.move_outing(outing, OutingEvent.LAND, ashore_at=at)
    line = journal.Line("outing", outing.pk, f"{outing.rider} is ashore")
    journal.record(actor=actor, act=act, station_id=outing.station_id, lines=[line], now=now)


def _said(gates: Iterable[checks.Gate], passed: bool, reasons: Mapping[str, str]) -> str:
    """Return how a check ended, with each gate that somebody's word opened."""
    shut = [gate for gate in gates if not gate.passed]
    if not passed:
        return "not passed: " + " ".join(gate.text for gate in shut)
    opened = [f"{gate.text} Let go because: {reasons[gate.name]}" for gate in shut]
    return " ".join(["passed" + (" against a gate." if opened else ""), *opened])


def _stood_against(sheet: queries.LaunchSheet, ticked: frozenset[str]) -> str:
    """Return the gates that were shut; points that were left open are counted, as they fill a page."""
    said = [gate.text for gate in sheet.shut]
    unticked = sum(key not in ticked for key, _text in sheet.points)
    if unticked:
        said.append(f"{unticked} of the points {'was' if unticked == 1 else 'were'} not ticked.")
    return " ".join(said)


def _let_go(actor: Actor, outing: Outing, now: datetime, *, at: datetime) -> None:
    actor.require(Act.LAUNCH, station_id=outing.station_id)
    if Recall.objects.filter(station_id=outing.station_id, lifted_at=None).exists():
        raise UnableToLaunch("Everybody is called ashore. Lift the recall on the Afloat page first.")
    bookings.move_outing(outing, OutingEvent.LAUNCH, launched_at=at)
    settle_late(actor, outing, now=now)
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


def _require_same_list(listed: checklists.InForce, version: int | None) -> None:
    if version is not None and version != listed.version:
        raise ListChanged(
            f"The check list is at version {listed.version} now, you went through version {version}. "
            "Your ticks are kept; look at the lines that are new, then send it again."
        )


def _logged_points(sheet: queries.LaunchSheet, ticked: frozenset[str]) -> list[dict[str, object]]:
    """Return each point in the wording and version of the list it was gone through with."""
    version = sheet.listed.version
    return [
        {"key": key, "text": text, "passed": key in ticked, "version": version} for key, text in sheet.points
    ]


def _logged(gate: checks.Gate) -> dict[str, object]:
    return {
        "name": gate.name,
        "passed": gate.passed,
        "hard": gate.hard,
        "text": gate.text,
        "rule": gate.reason.rule,
    }
