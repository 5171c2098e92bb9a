"""Who gets through: every service that writes, by role, at the own and at another station.

Roles by letter: D for desk, I for instructor, M for manager; a dash for one who is refused.
"""

import ast
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

import rentals
from rentals.afloat import services as afloat
from rentals.afloat.models import BeachLog
from rentals.audit.models import Entry
from rentals.bench import services as bench
from rentals.bench.models import KitRecall
from rentals.bookings.models import Outing
from rentals.checklists import services as checklists
from rentals.desk import queries
from rentals.desk import services as desk
from rentals.desk.services import issuing, ledger, sample
from rentals.errands.models import ErrandKind
from rentals.fleet import services as fleet
from rentals.fleet.models import HoldBack
from rentals.lib.access import NOBODY, System, service
from rentals.lib.problems import NotAllowed, NotVisible
from rentals.mail import services as mail
from rentals.mail.mapping import Report
from rentals.people import services as people
from rentals.people.models import Posting
from rentals.rigs import services as rigs
from rentals.stations import services as stations
from rentals.weather import services as weather
from rentals.weather.fetched import Fetched
from rentals.weather.models import Kind, Source
from tests.rentals.bench.test_noting import picture
from tests.rentals.database.rows import tried_elsewhere
from tests.rentals.errands.under_way import underway
from tests.rentals.lessons.school import School
from tests.rentals.people.test_riders import FACTS
from tests.rentals.people.test_staff import STATION
from tests.rentals.walk import HOUR, Walk

Call = Callable[..., object]


@dataclass(frozen=True)
class Door:
    """A service, who may call it, and a day on which the call would succeed."""

    name: str
    may: str
    on: Callable[[Walk], Call]

    def __str__(self) -> str:
        return self.name


def _rider(cast: Walk) -> Call:
    rider = cast.wren
    return lambda actor: people.change_rider(actor=actor, rider_id=rider.pk, facts=FACTS, now=cast.now)


def _hire(cast: Walk) -> Call:
    facts = people.StaffFacts(username="pip", password="spartina-anglica", role="desk")
    assert cast.tarrow
    return lambda actor: people.hire(actor=actor, station_id=cast.tarrow.pk, facts=facts, now=cast.now)


def _end_posting(cast: Walk) -> Call:
    posting = Posting.objects.get(user=cast.desk)
    return lambda actor: people.end_posting(actor=actor, posting_id=posting.pk, now=cast.now)


def _station(cast: Walk) -> Call:
    return lambda actor: stations.change_station(
        actor=actor, station_id=cast.tarrow.pk, facts=STATION, now=cast.now
    )


def _found(cast: Walk) -> Call:
    return partial(people.found_station, facts=STATION, now=cast.now)


def _limits(cast: Walk) -> Call:
    return lambda actor: stations.set_wind_limits(
        actor=actor, station_id=cast.tarrow.pk, limits={"beginner": 7.0}, now=cast.now
    )


def _medical_note(cast: Walk) -> Call:
    rider = cast.wren
    return lambda actor: people.keep_medical_note(
        actor=actor, rider_id=rider.pk, note="Asthma", agreed=True, now=cast.now
    )


def _check_list(cast: Walk) -> Call:
    lines = [checklists.Written(kind="rider", text="Rider is well")]
    return lambda actor: checklists.keep_list(
        actor=actor, station_id=cast.tarrow.pk, check="launch", lines=lines, version=0, now=cast.now
    )


def _book(cast: Walk) -> Call:
    return lambda actor: cast.book(cast.wren, actor=actor)


def _kit(cast: Walk) -> Call:
    (outing,) = cast.booked()
    cast.blow()
    return lambda actor: cast.kit(outing, actor=actor)


def _spares(cast: Walk) -> Call:
    lesson = School(cast).kitted()
    return lambda actor: rigs.keep_spares(actor=actor, lesson_id=lesson.pk, now=cast.now)


def _issue(cast: Walk) -> Call:
    outing = cast.kitted()
    return lambda actor: cast.issue(outing, actor=actor)


def _issue_party(cast: Walk) -> Call:
    outing = cast.kitted()
    return lambda actor: issuing.issue_party(actor=actor, kits={outing.pk: 1}, now=cast.now)


def _look_over(cast: Walk) -> Call:
    outing = cast.issued()
    return lambda actor: cast.look_over(outing, actor=actor)


def _launch(cast: Walk) -> Call:
    outing = cast.cleared()
    return lambda actor: afloat.launch(actor=actor, outing_id=outing.pk, now=cast.now)


def _late_check(cast: Walk) -> Call:
    outing = cast.issued()
    return lambda actor: afloat.note_late(
        actor=actor, outing_id=outing.pk, waited_s=60, why="Lightning.", now=cast.now
    )


def _not_out(cast: Walk) -> Call:
    outing = cast.issued()
    afloat.note_late(actor=cast.jory, outing_id=outing.pk, waited_s=60, why="Lightning.", now=cast.now)
    return lambda actor: afloat.not_out(actor=actor, outing_id=outing.pk, now=cast.now)


def _ashore(cast: Walk) -> Call:
    outing = cast.out()
    return lambda actor: afloat.call_ashore(actor=actor, outing_id=outing.pk, now=cast.now)


def _still_afloat(cast: Walk) -> Call:
    outing = cast.out()
    afloat.call_ashore(actor=cast.boss, outing_id=outing.pk, now=cast.now)
    return lambda actor: afloat.call_back_afloat(actor=actor, outing_id=outing.pk, now=cast.now)


def _beach(cast: Walk) -> Call:
    entry = afloat.BeachEntry(safety_boat_manned=True, instructors=1, lightning=False)
    return lambda actor: afloat.log_beach(actor=actor, station_id=cast.tarrow.pk, entry=entry, now=cast.now)


def _lightning(cast: Walk) -> Call:
    cast.watch_the_beach(lightning=True)
    log = BeachLog.objects.get()
    return lambda actor: afloat.take_back_lightning(
        actor=actor, log_id=log.pk, reason="A firework", now=cast.now
    )


def _late(cast: Walk) -> Outing:
    outing = cast.out()
    late = outing.ends_at + HOUR
    afloat.watch(actor=service(System.WATCH), station_id=outing.station_id, now=late)
    return outing


def _acknowledge(cast: Walk) -> Call:
    outing = _late(cast)
    return lambda actor: afloat.acknowledge(actor=actor, outing_id=outing.pk, now=cast.now)


def _see(cast: Walk) -> Call:
    outing = cast.out()
    return lambda actor: afloat.see(actor=actor, outing_id=outing.pk, seen=afloat.Seen(), now=cast.now)


def _extend(cast: Walk) -> Call:
    outing = cast.out()
    return lambda actor: afloat.extend(actor=actor, outing_id=outing.pk, minutes=15, now=cast.now)


def _swap(cast: Walk) -> Call:
    outing = cast.out()
    return lambda actor: afloat.swap_kit(actor=actor, outing_id=outing.pk, now=cast.now)


def _count(cast: Walk) -> Call:
    return lambda actor: afloat.count_heads(actor=actor, station_id=cast.tarrow.pk, counted=0, now=cast.now)


def _recall(cast: Walk) -> Call:
    return lambda actor: afloat.recall(actor=actor, station_id=cast.tarrow.pk, now=cast.now)


def _lift(cast: Walk) -> Call:
    _recall(cast)(cast.boss)
    return lambda actor: afloat.lift_recall(actor=actor, station_id=cast.tarrow.pk, now=cast.now)


def _safety(cast: Walk) -> Call:
    safety = afloat.Safety(
        uncertainty_min=5, alert_min=15, distress_min=30, cold_water_c=15, sunset_min=60, acknowledge_min=5,
        riders_per_instructor=6, riders_without_boat=4, soft_gates=frozenset(),
    )  # fmt: skip
    return lambda actor: afloat.set_safety(
        actor=actor, station_id=cast.tarrow.pk, safety=safety, now=cast.now
    )


def _contacts(cast: Walk) -> Call:
    contacts = [afloat.Contact(name="Maud", email="maud@tarrow.invalid")]
    return lambda actor: afloat.set_contacts(
        actor=actor, station_id=cast.tarrow.pk, contacts=contacts, now=cast.now
    )


def _hook(cast: Walk) -> Call:
    return lambda actor: afloat.set_hook(
        actor=actor, station_id=cast.tarrow.pk, url="https://alarm.invalid/late", now=cast.now
    )


def _no_hook(cast: Walk) -> Call:
    _hook(cast)(cast.boss)
    return lambda actor: afloat.stop_hook(actor=actor, station_id=cast.tarrow.pk, now=cast.now)


def _take_back(cast: Walk) -> Call:
    outing = cast.out()
    return lambda actor: cast.take_back(outing, actor=actor)


def _report(cast: Walk) -> Call:
    item = cast.shed["B1"]
    return lambda actor: bench.report_fault(actor=actor, item_id=item.pk, fault="Torn", now=cast.now)


def _mend(cast: Walk) -> Call:
    job = cast.faulty("S1")
    return lambda actor: cast.mend(job, actor=actor)


def _release(cast: Walk) -> Call:
    job = cast.mended("S1")
    return lambda actor: cast.release(job, actor=actor)


def _withdraw(cast: Walk) -> Call:
    item = cast.shed["M3"]
    return lambda actor: bench.withdraw(actor=actor, item_id=item.pk, reason="Broken", now=cast.now)


def _note_job(cast: Walk) -> Call:
    job, note = cast.faulty("S1"), bench.Note(kind="diagnosis", text="Seam gone")
    return lambda actor: bench.note_job(actor=actor, job_id=job.pk, note=note, now=cast.now)


def _add_photo(cast: Walk) -> Call:
    job = cast.faulty("S1")
    return lambda actor: bench.add_photo(actor=actor, job_id=job.pk, content=picture(), now=cast.now)


def _recall_kit(cast: Walk) -> Call:
    model = cast.shed["M3"].model
    return lambda actor: bench.recall_kit(
        actor=actor, station_id=cast.tarrow.pk, model_id=model.pk, batch="", reason="Cracks", now=cast.now
    )


def _end_recall(cast: Walk) -> Call:
    recall = _recall_kit(cast)(cast.boss)
    assert isinstance(recall, KitRecall)
    return lambda actor: bench.end_recall(
        actor=actor, recall_id=recall.pk, because="New ferrules", now=cast.now
    )


def _take_shed(cast: Walk) -> Call:
    assert cast.shed
    return lambda actor: fleet.take_shed(
        actor=actor, station_id=cast.tarrow.pk, text="tag,colour\nS1,red\n", now=cast.now
    )


def _inspect(cast: Walk) -> Call:
    item = cast.shed["M3"]
    return lambda actor: bench.inspect(
        actor=actor, item_id=item.pk, name="weekly look", found=bench.Found(defects="Dent"), now=cast.now
    )


def _inspect_rack(cast: Walk) -> Call:
    items = [cast.shed[tag].pk for tag in ("M1", "M2")]
    return lambda actor: bench.inspect_rack(
        actor=actor, station_id=cast.tarrow.pk, name="weekly look", item_ids=items, now=cast.now
    )


def _release_held(cast: Walk) -> Call:
    held = HoldBack.objects.create(
        item=cast.shed["M3"], cause="hand", subject="M3", text="Odd noise", since=cast.now
    )
    return lambda actor: bench.release_held(
        actor=actor, hold_back_id=held.pk, because="Looked at it", now=cast.now
    )


def _set_bench(cast: Walk) -> Call:
    station = cast.tarrow
    return lambda actor: bench.set_bench(
        actor=actor, station_id=station.pk, grace_days=2, released_by="manager", now=cast.now
    )


def _set_interval(cast: Walk) -> Call:
    station = cast.tarrow
    return lambda actor: bench.set_interval(
        actor=actor,
        station_id=station.pk,
        kind="mast",
        model_id=None,
        name="weekly look",
        every={"every_days": 5.0},
        now=cast.now,
    )


def _by_hand(cast: Walk) -> Call:
    hour = weather.HandHour(
        starts_at=cast.at(11), ends_at=cast.at(12), mean_ms=8.0, gust_ms=None, from_deg=None
    )
    return lambda actor: weather.enter_by_hand(
        actor=actor, station_id=cast.tarrow.pk, hour=hour, now=cast.now
    )


def _file(cast: Walk) -> Call:
    content = b"time,mean,gust,direction\n2027-07-14 09:40,6,8,330\n"
    return lambda actor: weather.take_file(
        actor=actor, station_id=cast.tarrow.pk, content=content, now=cast.now
    )


def _add_source(cast: Walk) -> Call:
    return lambda actor: weather.add_source(
        actor=actor, station_id=cast.tarrow.pk, kind=Kind.TAF, url="https://met.invalid/", now=cast.now
    )


def _stop_source(cast: Walk) -> Call:
    source = Source.objects.create(station=cast.tarrow, kind="taf", url="https://met.invalid/")
    return lambda actor: weather.stop_source(
        actor=actor, station_id=cast.tarrow.pk, source_id=source.pk, now=cast.now
    )


def _load_demo(cast: Walk) -> Call:
    taken = underway(cast, ErrandKind.LOAD_DEMO)
    return lambda actor: sample.load_demo(actor=actor, taken=taken, now=cast.now)


def _remove_demo(cast: Walk) -> Call:
    loaded = underway(cast, ErrandKind.LOAD_DEMO)
    sample.load_demo(actor=cast.boss, taken=loaded, now=cast.now)
    made = queries.demo_made(cast.tarrow.pk)
    taken = underway(cast, ErrandKind.REMOVE_DEMO)
    return lambda actor: sample.remove_demo(actor=actor, taken=taken, made=made, now=cast.now)


DOORS = [
    Door("people.change_rider", "DIM", _rider),
    Door("people.hire", "--M", _hire),
    Door("people.end_posting", "--M", _end_posting),
    Door("stations.change_station", "--M", _station),
    Door("stations.set_wind_limits", "--M", _limits),
    Door("checklists.keep_list", "--M", _check_list),
    Door("people.keep_medical_note", "DIM", _medical_note),
    Door("bookings.book_party", "D-M", _book),
    Door("rigs.kit_outing", "DIM", _kit),
    Door("rigs.keep_spares", "DIM", _spares),
    Door("bookings.issue_kit", "DIM", _issue),
    Door("desk.issue_party", "DIM", _issue_party),
    Door("afloat.log_beach", "-IM", _beach),
    Door("afloat.check_launch", "-IM", _look_over),
    Door("afloat.launch", "-IM", _launch),
    Door("afloat.note_late", "-IM", _late_check),
    Door("afloat.not_out", "-IM", _not_out),
    Door("afloat.call_ashore", "DIM", _ashore),
    Door("afloat.call_back_afloat", "DIM", _still_afloat),
    Door("afloat.take_back_lightning", "-IM", _lightning),
    Door("afloat.acknowledge", "DIM", _acknowledge),
    Door("afloat.see", "DIM", _see),
    Door("afloat.extend", "-IM", _extend),
    Door("afloat.swap_kit", "DIM", _swap),
    Door("afloat.count_heads", "DIM", _count),
    Door("afloat.recall", "DIM", _recall),
    Door("afloat.lift_recall", "-IM", _lift),
    Door("afloat.set_safety", "--M", _safety),
    Door("afloat.set_contacts", "--M", _contacts),
    Door("afloat.set_hook", "--M", _hook),
    Door("afloat.stop_hook", "--M", _no_hook),
    Door("bench.take_back", "DIM", _take_back),
    Door("bench.report_fault", "DIM", _report),
    Door("bench.mend", "-IM", _mend),
    Door("bench.release", "-IM", _release),
    Door("bench.withdraw", "--M", _withdraw),
    Door("bench.note_job", "-IM", _note_job),
    Door("bench.add_photo", "DIM", _add_photo),
    Door("bench.recall_kit", "-IM", _recall_kit),
    Door("bench.end_recall", "--M", _end_recall),
    Door("desk.load_demo", "--M", _load_demo),
    Door("desk.remove_demo", "--M", _remove_demo),
    Door("fleet.take_shed", "--M", _take_shed),
    Door("bench.inspect", "-IM", _inspect),
    Door("bench.inspect_rack", "-IM", _inspect_rack),
    Door("bench.release_held", "-IM", _release_held),
    Door("bench.set_bench", "--M", _set_bench),
    Door("bench.set_interval", "--M", _set_interval),
    Door("weather.enter_by_hand", "-IM", _by_hand),
    Door("weather.take_file", "-IM", _file),
    Door("weather.add_source", "--M", _add_source),
    Door("weather.stop_source", "--M", _stop_source),
]


def _end_errand(cast: Walk) -> Call:
    Source.objects.create(station=cast.tarrow, kind="taf", url="https://met.invalid/")
    errand = weather.take_errand(actor=service(System.FETCH), now=cast.now)
    assert errand is not None
    fetched = Fetched(status="unchanged")
    return partial(weather.end_errand, errand=errand, fetched=fetched, content=None, error=None, now=cast.now)


def _put_down(cast: Walk) -> Call:
    outing = cast.out()
    late = outing.ends_at + HOUR
    afloat.watch(actor=service(System.WATCH), station_id=outing.station_id, now=late)
    taken = mail.take_next(actor=service(System.SEND), now=cast.now)
    assert taken is not None
    return partial(mail.put_down, taken=taken, error=None, now=cast.now)


def _note_return(cast: Walk) -> Call:
    report = Report(message_id="<overdue.1.alert@marram.invalid>", lost=True)
    return partial(mail.note_return, report=report, now=cast.now)


def _put_down_call(cast: Walk) -> Call:
    _hook(cast)(cast.boss)
    _late(cast)
    taken = mail.take_call(actor=service(System.SEND), now=cast.now)
    assert taken is not None
    return partial(mail.put_down_call, taken=taken, error=None, now=cast.now)


def _looking(cast: Walk, service: Call) -> Call:
    return partial(service, station_id=cast.tarrow.pk, now=cast.now)


BY_ITSELF = [
    ("afloat.watch", System.WATCH, lambda cast: _looking(cast, afloat.watch)),
    ("afloat.look", System.WATCH, lambda cast: _looking(cast, afloat.look)),
    ("bench.post_wear", System.POST_WEAR, lambda cast: partial(bench.post_wear, now=cast.now)),
    (
        "bench.hold_back_overdue",
        System.HOLD_BACK,
        lambda cast: partial(bench.hold_back_overdue, now=cast.now),
    ),
    ("bench.post_rig_wear", System.POST_WEAR, lambda cast: partial(bench.post_rig_wear, now=cast.now)),
    ("mail.take_next", System.SEND, lambda cast: partial(mail.take_next, now=cast.now)),
    ("mail.put_down", System.SEND, _put_down),
    ("mail.note_return", System.NOTE_RETURNS, _note_return),
    ("mail.take_call", System.SEND, lambda cast: partial(mail.take_call, now=cast.now)),
    ("mail.put_down_call", System.SEND, _put_down_call),
    ("weather.take_errand", System.FETCH, lambda cast: partial(weather.take_errand, now=cast.now)),
    ("weather.end_errand", System.FETCH, _end_errand),
    ("people.found_station", System.FOUND, _found),
    ("desk.load_scenario", System.SEED, lambda cast: partial(desk.load_scenario, now=cast.now)),
    (
        "desk.write_ledger",
        System.SEED,
        lambda cast: partial(ledger.write_ledger, seller=cast.boss, station=cast.tarrow, now=cast.now),
    ),
]  # fmt: skip

ROLES = {
    "D": lambda cast: cast.ida,
    "I": lambda cast: cast.jory,
    "M": lambda cast: cast.boss,
}
ALLOWED = [(door, role) for door in DOORS for role in "DIM" if role in door.may]
REFUSED = [(door, role) for door in DOORS for role in "DIM" if role not in door.may]


def named(cases: list[tuple[Door, str]]) -> list[str]:
    return [f"{door} by {role}" for door, role in cases]


def test_every_service_that_writes_has_a_door_here() -> None:
    folder = Path(rentals.__file__).parent
    writing = {
        f"{path.relative_to(folder).parts[0]}.{node.name}"
        for path in [*folder.glob("*/services.py"), *folder.glob("*/services/*.py")]
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.FunctionDef)
        if "write" in {ast.unparse(each) for each in node.decorator_list}
        if not tried_elsewhere(path.relative_to(folder).parts[0], "test_doors")
    }

    assert {door.name for door in DOORS} | {name for name, _act, _on in BY_ITSELF} == writing


@pytest.mark.parametrize(("door", "role"), ALLOWED, ids=named(ALLOWED))
def test_a_role_that_may_gets_through(cast: Walk, door: Door, role: str) -> None:
    call = door.on(cast)
    before = Entry.objects.count()

    call(ROLES[role](cast))

    assert Entry.objects.count() > before


@pytest.mark.parametrize(("door", "role"), REFUSED, ids=named(REFUSED))
def test_a_role_that_may_not_is_told_who_may(cast: Walk, door: Door, role: str) -> None:
    call = door.on(cast)
    before = Entry.objects.count()

    with pytest.raises(NotAllowed, match="Ask a colleague who is"):
        call(ROLES[role](cast))

    assert Entry.objects.count() == before


@pytest.mark.parametrize("door", DOORS, ids=str)
def test_from_elsewhere_there_is_nothing_here(cast: Walk, door: Door) -> None:
    """For a manager elsewhere, one without a post, nobody, and the service's own jobs."""
    call = door.on(cast)
    before = Entry.objects.count()

    for actor in (cast.rhys, cast.actor(cast.stranger), NOBODY, service(*System)):
        with pytest.raises(NotVisible):
            call(actor)

    assert Entry.objects.count() == before


@pytest.mark.parametrize(
    ("act", "on"), [(act, on) for _name, act, on in BY_ITSELF], ids=[name for name, _act, _on in BY_ITSELF]
)
def test_what_the_service_does_by_itself_no_person_does(
    cast: Walk, act: System, on: Callable[[Walk], Call]
) -> None:
    call = on(cast)

    for actor in (cast.boss, cast.rhys, NOBODY, service(*(set(System) - {act}))):
        with pytest.raises(NotAllowed, match="Only the service itself"):
            call(actor=actor)
