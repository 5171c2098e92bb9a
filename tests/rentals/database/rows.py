"""One valid row of every table, written around the services: what the database's own rules are tried on."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar
from uuid import uuid4

import pytest
from django.db import IntegrityError, models, transaction

from rentals.afloat.models import (
    Acknowledgement,
    BeachLog,
    Escalation,
    HeadCount,
    LateCheck,
    LateSettled,
    LaunchCheck,
    LogCorrection,
    PhaseChange,
    Recall,
    Sighting,
    WatchContact,
)
from rentals.audit.models import Entry, Once
from rentals.bench.models import (
    Inspection,
    Interval,
    Job,
    JobLine,
    KitRecall,
    Meter,
    Photo,
    ReturnCheck,
    ReturnLine,
    RigWear,
    Setting,
    WearPosting,
)
from rentals.bookings.models import Booking, KitPart, Outing, Party
from rentals.checklists.models import CheckList
from rentals.fleet.models import RIG_PARTS, Hold, HoldBack, Item, ItemModel, Kind, Rig
from rentals.mail.models import Call, Hook, Letter
from rentals.people.models import MedicalNote, Posting, Rider, User
from rentals.rigs.models import Card
from rentals.stations.models import Station, WindLimit
from rentals.weather.models import Hour, Observation, Run, Source

NOON = datetime(2027, 7, 14, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
Row = TypeVar("Row", bound=models.Model)

SPECS: Mapping[Kind, Mapping[str, Any]] = {
    Kind.SAIL: {
        "area_m2": 5.3,
        "luff_cm": 415,
        "boom_cm": 173,
        "imcs": 19,
        "curve": "constant",
        "head": "fixed",
        "takes_rdm": True,
        "takes_sdm": True,
        "battens": 5,
        "cams": 0,
        "cutout_low_cm": 118,
        "cutout_high_cm": 172,
    },
    Kind.MAST: {"length_cm": 400, "imcs": 19, "curve": "constant", "takes_rdm": True, "takes_sdm": False},
    Kind.BOOM: {"min_cm": 140, "max_cm": 190, "takes_rdm": True, "takes_sdm": True, "shim": False},
    Kind.EXTENSION: {
        "min_cm": 4,
        "max_cm": 36,
        "step_cm": 2,
        "takes_rdm": True,
        "takes_sdm": False,
        "coupling": "pin",
    },
    Kind.BASE: {"height_cm": 10, "coupling": "pin", "joint": "tendon"},
    Kind.BOARD: {
        "volume_l": 130,
        "width_cm": 72,
        "sail_min_m2": 4.5,
        "sail_max_m2": 8.5,
        "fin_box": "tuttle",
        "daggerboard": False,
    },
    Kind.FIN: {"length_cm": 40, "fin_box": "tuttle"},
    Kind.HARNESS: {"size": "M"},
    Kind.BUOYANCY_AID: {"buoyancy_n": 50, "size": "M"},
    Kind.WETSUIT: {"thickness_mm": 5, "size": "M"},
    Kind.HELMET: {"size": "M"},
}


class Rows:
    """Rows made when first asked for, each with those that it points to."""

    @cached_property
    def station(self) -> Station:
        return Station.objects.create(
            name="Tarrow Lagoon",
            slug="tarrow-lagoon",
            zone_name="Europe/Lisbon",
            latitude_deg=45.2,
            longitude_deg=-9.6,
            seaward_deg=250,
            opens=time(8),
            closes=time(19),
            watch_email="watch@tarrow.invalid",
            rescue_number="0800 000 000",
        )

    @cached_property
    def user(self) -> User:
        return User.objects.create(username="jory")

    @cached_property
    def rider(self) -> Rider:
        return Rider.objects.create(
            station=self.station,
            name="Ada Brill",
            born_on=date(1990, 5, 1),
            mass_kg=Decimal("72.5"),
            stature_cm=175,
            level="advanced",
            swims=True,
        )

    def another_rider(self) -> Rider:
        rider = copied(self.rider, name="Bram Harle")
        inserted(rider)
        return rider

    def model(self, kind: Kind) -> ItemModel:
        found, _made = ItemModel.objects.get_or_create(kind=kind, name=f"a {kind}", defaults=SPECS[kind])
        return found

    def item(self, kind: Kind = Kind.SAIL, **values: Any) -> Item:
        tag = f"{kind[:2]}-{Item.objects.count()}"
        return Item.objects.create(station=self.station, model=self.model(kind), **{"tag": tag, **values})

    def hold(self, item: Item, start: datetime = NOON, end: datetime = NOON + HOUR, **values: Any) -> Hold:
        return Hold.objects.create(
            item=item, starts_at=start, ends_at=end, **{"purpose": "a row of the table", **values}
        )

    @cached_property
    def party(self) -> Party:
        return Party.objects.create(
            station=self.station, contact_name="Greta Nance", contact_phone="0700 000 001"
        )

    @cached_property
    def booking(self) -> Booking:
        return Booking.objects.create(party=self.party, kind=Booking.Kind.RENTAL, booked_at=NOON - HOUR)

    def outing(self, start: datetime = NOON, end: datetime = NOON + HOUR, **values: Any) -> Outing:
        return Outing.objects.create(
            station=self.station,
            starts_at=start,
            ends_at=end,
            **{"booking": self.booking, "rider": self.rider, **values},
        )

    def part(self, outing: Outing, item: Item, **values: Any) -> KitPart:
        """A part with a hold of its own, which need not be live."""
        hold = values.pop("hold", None) or self.hold(item, live=False)
        return KitPart.objects.create(outing=outing, item=item, hold=hold, part=item.model.kind, **values)

    def check(self, outing: Outing, *, kit_no: int = 0, passed: bool = True) -> LaunchCheck:
        return LaunchCheck.objects.create(
            outing=outing, kit_no=kit_no, at=NOON, by=self.user, passed=passed, points=[], gates=[]
        )

    def run(self) -> Run:
        return Run.objects.create(station=self.station, kind="hand", received_at=NOON)

    def return_check(self) -> ReturnCheck:
        return ReturnCheck.objects.create(outing=self.outing(), at=NOON)

    def job(self, item: Item, **values: Any) -> Job:
        return Job.objects.create(item=item, fault="Clamp slips", opened_at=NOON, **values)

    def hold_back(self, item: Item, **values: Any) -> HoldBack:
        usual = {"cause": "recall", "subject": "R-1", "text": "Clamp may open", "since": NOON}
        return HoldBack.objects.create(item=item, **{**usual, **values})

    def rig_wear(self) -> RigWear:
        rig = _rig(self)
        return RigWear.objects.create(
            item=rig.sail,
            rig=rig,
            starts_at=NOON,
            ends_at=NOON + HOUR,
            sun_s=3600,
            rig_ups=1,
            posted_at=NOON,
        )

    def one_of(self, model: type[Row]) -> Row:
        """A valid row of any table."""
        row = _ONE[model](self)
        assert isinstance(row, model)
        return row


def tried_elsewhere(app: str, module: str = "test_database") -> bool:
    """Whether an app tries its constraints and rules, or its doors, in a module beside its own tests."""
    return (Path(__file__).parents[1] / app / f"{module}.py").exists()


def copied(row: Row, **values: Any) -> Row:
    """The same row once more as a new one, with other values where given."""
    fields = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
    fields["id"] = uuid4() if isinstance(row, Hold) else None
    for name in values:
        fields.pop(f"{name}_id", None)
    return type(row)(**{**fields, **values})


def inserted(row: models.Model) -> None:
    """Insert without save, signals or cleaning."""
    type(row)._default_manager.bulk_create([row])


@contextmanager
def refused_by(name: str) -> Iterator[None]:
    """Expect the database to refuse what is done inside, by the rule or check of that name."""
    with pytest.raises(IntegrityError) as refusal, transaction.atomic():
        yield
    diagnosis = getattr(refusal.value.__cause__, "diag", None)
    if diagnosis is None:
        assert re.search(rf"\b{name}\b", str(refusal.value)), str(refusal.value)
    else:
        assert diagnosis.constraint_name == name


@contextmanager
def refused_as_twin(columns: Sequence[str]) -> Iterator[None]:
    """Expect the database to refuse what is done inside, as the same in these columns as another row."""
    with pytest.raises(IntegrityError) as refusal, transaction.atomic():
        yield
    diagnosis = getattr(refusal.value.__cause__, "diag", None)
    if diagnosis is None:
        said = re.sub(r"\w+\.(\w+)", r"\1", str(refusal.value))
        assert said == f"UNIQUE constraint failed: {', '.join(columns)}"
    else:
        assert diagnosis.message_detail.startswith(f"Key ({', '.join(columns)})=")


def _rig(rows: Rows) -> Rig:
    parts = {part.value: rows.item(part) for part in RIG_PARTS}
    return Rig.objects.create(station=rows.station, built_at=NOON, **parts)


def _phase(rows: Rows) -> PhaseChange:
    return PhaseChange.objects.create(
        outing=rows.outing(), phase="alert", raised_at=NOON + 2 * HOUR, due_at=NOON + HOUR
    )


def _hook(rows: Rows) -> Hook:
    return Hook.objects.create(
        station_id=rows.station.pk, url="https://alarm.invalid/late", secret="whsec_Zg==", set_at=NOON
    )


_ONE: Mapping[type[models.Model], Callable[[Rows], models.Model]] = {
    Station: lambda rows: rows.station,
    WindLimit: lambda rows: WindLimit.objects.create(station=rows.station, level="taster", mean_ms=7),
    User: lambda rows: rows.user,
    Posting: lambda rows: Posting.objects.create(
        user=rows.user, station=rows.station, role="desk", since=date(2027, 1, 1)
    ),
    Rider: lambda rows: rows.rider,
    CheckList: lambda rows: CheckList.objects.create(
        station=rows.station, check_for="launch", version=1, at=NOON, by=rows.user, lines=[]
    ),
    MedicalNote: lambda rows: MedicalNote.objects.create(
        rider=rows.rider, note="Asthma", agreed_by="Ada Brill", agreed_at=NOON, wording="2026-11"
    ),
    Source: lambda rows: Source.objects.create(
        station=rows.station, kind="taf", url="https://met.invalid/taf"
    ),
    Run: lambda rows: rows.run(),
    Hour: lambda rows: Hour.objects.create(
        run=rows.run(), starts_at=NOON, ends_at=NOON + HOUR, mean_ms=8, gust_ms=11, from_deg=330
    ),
    Observation: lambda rows: Observation.objects.create(
        station=rows.station, kind="hand", at=NOON, mean_ms=8, gust_ms=11, from_deg=330, height_m=2
    ),
    ItemModel: lambda rows: rows.model(Kind.SAIL),
    Item: lambda rows: rows.item(),
    Hold: lambda rows: rows.hold(rows.item()),
    Rig: _rig,
    Party: lambda rows: rows.party,
    Booking: lambda rows: rows.booking,
    Outing: lambda rows: rows.outing(),
    KitPart: lambda rows: rows.part(rows.outing(), rows.item()),
    Card: lambda rows: Card.objects.create(
        outing=rows.outing(), kit_no=1, made_at=NOON, choice={}, settings={}, inputs={}, formulas="2026.1"
    ),
    BeachLog: lambda rows: BeachLog.objects.create(
        station=rows.station, at=NOON, safety_boat_manned=True, instructors=2, water_c=16.5, lightning=False
    ),
    LaunchCheck: lambda rows: rows.check(rows.outing()),
    PhaseChange: lambda rows: _phase(rows),
    LateCheck: lambda rows: LateCheck.objects.create(
        outing=rows.outing(), at=NOON, by=rows.user, once=uuid4(), why="Lightning."
    ),
    LateSettled: lambda rows: LateSettled.objects.create(
        late=rows.one_of(LateCheck), by=rows.user, at=NOON
    ),
    Acknowledgement: lambda rows: Acknowledgement.objects.create(
        change=_phase(rows), by=rows.user, at=NOON + 3 * HOUR
    ),
    Escalation: lambda rows: Escalation.objects.create(change=_phase(rows), step=1, at=NOON + 3 * HOUR),
    WatchContact: lambda rows: WatchContact.objects.create(
        station=rows.station, place=1, name="Maud", email="maud@tarrow.invalid"
    ),
    Sighting: lambda rows: Sighting.objects.create(
        outing=rows.outing(), at=NOON, by=rows.user, bearing_deg=200, distance_m=400
    ),
    HeadCount: lambda rows: HeadCount.objects.create(
        station=rows.station, at=NOON, by=rows.user, counted=3, logged=3
    ),
    Recall: lambda rows: Recall.objects.create(station=rows.station, at=NOON, by=rows.user),
    LogCorrection: lambda rows: LogCorrection.objects.create(
        log=rows.one_of(BeachLog), at=NOON, by=rows.user, reason="A firework"
    ),
    Hook: lambda rows: _hook(rows),
    Call: lambda rows: Call.objects.create(
        hook=_hook(rows), event="overdue:1:alert", body="{}", written_at=NOON
    ),
    ReturnCheck: lambda rows: rows.return_check(),
    ReturnLine: lambda rows: ReturnLine.objects.create(
        check_made=rows.return_check(), item=rows.item(), back=True
    ),
    Job: lambda rows: rows.job(rows.item()),
    WearPosting: lambda rows: WearPosting.objects.create(
        item=rows.item(), outing=rows.outing(), water_s=3600, weighted_s=4000, salt=True, posted_at=NOON
    ),
    RigWear: lambda rows: rows.rig_wear(),
    JobLine: lambda rows: JobLine.objects.create(
        job=rows.job(rows.item()), at=NOON, kind="parts", text="Clamp", cost="38.50", currency="EUR"
    ),
    Photo: lambda rows: Photo.objects.create(
        job=rows.job(rows.item()), at=NOON, content=b"jpeg", width=40, height=30
    ),
    KitRecall: lambda rows: KitRecall.objects.create(
        station=rows.station, model=rows.model(Kind.MAST), reason="Ferrule may crack", at=NOON
    ),
    HoldBack: lambda rows: rows.hold_back(rows.item()),
    Setting: lambda rows: Setting.objects.create(station=rows.station),
    Interval: lambda rows: Interval.objects.create(
        station=rows.station, kind="base", name="weekly look", every_days=5
    ),
    Inspection: lambda rows: Inspection.objects.create(
        item=rows.item(), at=NOON, name="weekly look", occasion="weekly", passed=True, points=[],
        weighted_s=0, rig_ups=0, sun_s=0,
    ),
    Meter: lambda rows: Meter.objects.create(item=rows.item()),
    Letter: lambda rows: Letter.objects.create(
        event="overdue:1:alert", to="watch@tarrow.invalid", subject="Late", body="Look.", written_at=NOON
    ),
    Entry: lambda rows: Entry.objects.create(
        at=NOON, actor_name="Ida", station_id=1, act="book a party", subject_kind="outing", subject_id=1,
        text="Booked",
    ),
    Once: lambda rows: Once.objects.create(
        user=rows.user, key=uuid4(), act="book a party", fingerprint="0" * 64, at=NOON
    ),
}  # fmt: skip
