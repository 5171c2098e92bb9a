"""Every constraint of every table, tried by an insert around the services and refused by the database."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models
from django.db.models import CheckConstraint

from rentals.afloat.models import (
    Acknowledgement,
    BeachLog,
    Escalation,
    HeadCount,
    LateCheck,
    LateSettled,
    LogCorrection,
    PhaseChange,
    Recall,
    Sighting,
    WatchContact,
)
from rentals.audit.models import Once
from rentals.bench.models import (
    Inspection,
    Interval,
    Job,
    JobLine,
    KitRecall,
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
from tests.rentals.database.rows import (
    HOUR,
    NOON,
    SPECS,
    Rows,
    copied,
    inserted,
    refused_as_twin,
    refused_by,
    tried_elsewhere,
)

SECOND = timedelta(seconds=1)


@dataclass(frozen=True)
class Case:
    """A valid row of a table, what is wrong with its copy, and the constraint that must say so."""

    constraint: str
    model: type[models.Model]
    wrong: dict[str, Any]

    def __str__(self) -> str:
        return f"{self.constraint}: {', '.join(f'{name}={value}' for name, value in self.wrong.items())}"


def checks(constraint: str, model: type[models.Model], *wrong: dict[str, Any]) -> list[Case]:
    return [Case(constraint, model, each) for each in wrong]


def outside(constraint: str, model: type[models.Model], column: str, *values: Any) -> list[Case]:
    return [Case(constraint, model, {column: value}) for value in values]


def winds(name: str, model: type[models.Model]) -> list[Case]:
    return [
        *checks(f"{name}_mean", model, {"mean_ms": -0.1}, {"mean_ms": 75.1, "gust_ms": 80}),
        *outside(f"{name}_gust_over_mean", model, "gust_ms", 7.9, 110.1),
        *outside(f"{name}_from", model, "from_deg", -1, 361),
    ]


LAUNCHED = {"state": "ashore", "launched_at": NOON, "ashore_at": NOON + HOUR}

CHECKS = [
    *outside("station_latitude", Station, "latitude_deg", -90.1, 90.1),
    *outside("station_longitude", Station, "longitude_deg", -180.1, 180.1),
    *outside("station_seaward", Station, "seaward_deg", -1, 360),
    *outside("station_opens_before_closing", Station, "opens", time(19), time(20)),
    *outside("station_currency", Station, "currency", "eur", "EU"),
    *outside("station_turn_round", Station, "turn_round_min", 181),
    *checks(
        "station_phases_in_turn",
        Station,
        {"alert_min": 10},
        {"distress_min": 25},
        {"distress_min": 1441},
    ),
    *outside("station_cold_water", Station, "cold_water_c", -3.1, 45.1),
    *outside("station_sunset_margin", Station, "sunset_min", 1441),
    *outside("station_acknowledge", Station, "acknowledge_min", 0, 61),
    *outside("station_ratio", Station, "riders_per_instructor", 3, 21),
    *outside("station_ratio", Station, "riders_without_boat", 0, 7),
    *outside("wind_limit_level", WindLimit, "level", "wizard"),
    *outside("wind_limit_range", WindLimit, "mean_ms", 0, 30.1),
    *outside("posting_span", Posting, "until", date(2027, 1, 1), date(2026, 12, 31)),
    *outside("posting_role", Posting, "role", "owner"),
    *outside("rider_mass", Rider, "mass_kg", "19.9", "160.1"),
    *outside("rider_stature", Rider, "stature_cm", 99, 221),
    *outside("rider_level", Rider, "level", "wizard", ""),
    *outside("rider_born", Rider, "born_on", date(1899, 12, 31)),
    *outside("medical_note_is_agreed_to", MedicalNote, "agreed_by", ""),
    *outside("check_list_counts_from_one", CheckList, "version", 0),
    *outside("check_list_check", CheckList, "check_for", "dive"),
    *outside("medical_note_is_agreed_to", MedicalNote, "note", ""),
    *outside("consent_by_a_named_guardian", Rider, "guardian_consent_at", NOON),
    *outside("source_kind", Source, "kind", "hand", "rumour"),
    *outside("source_height", Source, "height_m", 0.4, 200.1),
    *outside("source_every", Source, "every_min", 4, 1441),
    *outside("run_kind", Run, "kind", "rumour"),
    *outside("hour_span", Hour, "ends_at", NOON, NOON - HOUR),
    *winds("hour", Hour),
    *outside("hour_humidity", Hour, "relative_humidity", -0.01, 1.01),
    *outside("observation_kind", Observation, "kind", "rumour"),
    *outside("observation_height", Observation, "height_m", 0.4, 200.1),
    *winds("observation", Observation),
    *outside("model_kind", ItemModel, "kind", "kite"),
    *outside("model_area_m2_range", ItemModel, "area_m2", 0.7, 13.1),
    *outside("model_luff_cm_range", ItemModel, "luff_cm", 601),
    *checks("model_luff_cm_range", ItemModel, {"luff_cm": 149, "cutout_low_cm": 60, "cutout_high_cm": 90}),
    *outside("model_boom_cm_range", ItemModel, "boom_cm", 79, 301),
    *outside("model_length_cm_range", ItemModel, "length_cm", 9, 601),
    *outside("model_imcs_range", ItemModel, "imcs", 7, 46),
    *outside("model_min_cm_range", ItemModel, "min_cm", -1, 301),
    *outside("model_max_cm_range", ItemModel, "max_cm", -1, 301),
    *outside("model_step_cm_range", ItemModel, "step_cm", 0.4, 11),
    *outside("model_volume_l_range", ItemModel, "volume_l", 29, 401),
    *outside("model_buoyancy_n_range", ItemModel, "buoyancy_n", 19, 301),
    *checks("model_min_below_max", ItemModel, {"min_cm": 190, "max_cm": 190}, {"min_cm": 190, "max_cm": 140}),
    *checks(
        "model_cutout",
        ItemModel,
        {"cutout_low_cm": 0},
        {"cutout_low_cm": 172},
        {"cutout_high_cm": 415},
    ),
    *checks(
        "model_sail_range",
        ItemModel,
        {"sail_min_m2": 6.5, "sail_max_m2": 6.5},
        {"sail_min_m2": 7, "sail_max_m2": 4},
    ),
    *checks("model_takes_some_diameter", ItemModel, {"takes_rdm": False, "takes_sdm": False}),
    *checks(
        "model_mast_one_diameter",
        ItemModel,
        {"kind": "mast", "takes_rdm": True, "takes_sdm": True, "length_cm": 400},
    ),
    *outside("item_state", Item, "state", "lost"),
    *outside("hold_span", Hold, "ends_at", NOON, NOON - HOUR),
    *outside("hold_bounded", Hold, "ends_at", NOON + timedelta(days=14) + SECOND),
    *outside("rig_span", Rig, "derigged_at", NOON - SECOND),
    *checks("party_can_be_reached", Party, {"contact_phone": "", "contact_email": ""}),
    *outside("booking_kind", Booking, "kind", "gift"),
    *outside("outing_state", Outing, "state", "adrift"),
    *outside("outing_span", Outing, "ends_at", NOON, NOON - HOUR, NOON + 12 * HOUR + SECOND),
    *checks("afloat_was_launched", Outing, {"state": "ashore", "ashore_at": NOON}),
    *checks("ashore_has_a_time", Outing, {**LAUNCHED, "ashore_at": None}),
    *checks("ashore_after_launch", Outing, {**LAUNCHED, "ashore_at": NOON - SECOND}, {"ashore_at": NOON}),
    *checks("closed_has_a_time", Outing, {**LAUNCHED, "state": "closed"}),
    *checks("closed_is_ashore", Outing, {"state": "closed", "launched_at": NOON, "closed_at": NOON + HOUR}),
    *checks(
        "kit_returned_after_issue",
        KitPart,
        {"returned_at": NOON},
        {"issued_at": NOON, "returned_at": NOON - SECOND},
    ),
    *outside("beach_log_water", BeachLog, "water_c", -3.1, 45.1),
    *outside("contact_place", WatchContact, "place", 0, 7),
    *checks(
        "sighting_place_is_whole",
        Sighting,
        {"bearing_deg": None},
        {"distance_m": None},
        {"bearing_deg": 360},
        {"bearing_deg": -1},
        {"distance_m": -1},
        {"distance_m": 20_001},
    ),
    *outside("head_count_range", HeadCount, "counted", 501),
    *checks("recall_lift_is_signed", Recall, {"lifted_at": NOON + HOUR}),
    *outside("phase_known", PhaseChange, "phase", "on_time", "worry"),
    *outside("return_felt", ReturnCheck, "felt", "fine"),
    *outside("job_state", Job, "state", "forgotten"),
    *checks(
        "job_mended_says_how",
        Job,
        {"state": "mended", "mended_at": NOON},
        {"state": "mended", "work": "New clamp"},
    ),
    *checks("job_finished_has_a_time", Job, {"state": "withdrawn"}),
    *outside("wear_within_two_days", WearPosting, "water_s", 172_801),
    *checks("rig_wear_span", RigWear, {"rig_ups": 0, "starts_at": NOON + HOUR + SECOND}),
    *outside("job_line_kind", JobLine, "kind", "gossip"),
    *outside("job_line_says_what", JobLine, "text", ""),
    *outside("job_line_minutes", JobLine, "minutes", 6001),
    *checks(
        "job_line_cost",
        JobLine,
        {"cost": "-0.01"},
        {"cost": "99999.01"},
        {"currency": ""},
        {"cost": None},
    ),
    *checks("job_line_workshop_due", JobLine, {"kind": "workshop"}, {"due_on": NOON.date()}),
    *outside("photo_size", Photo, "width", 0),
    *outside("kit_recall_says_why", KitRecall, "reason", ""),
    *checks(
        "kit_recall_ended_because",
        KitRecall,
        {"ended_at": NOON},
        {"ended_at": NOON - SECOND, "ended_because": "Mended"},
        {"ended_because": "Mended"},
    ),
    *checks("hold_back_cause", HoldBack, {"cause": "whim"}),
    *checks(
        "hold_back_lifted_because",
        HoldBack,
        {"subject": "R-2", "lifted_at": NOON},
        {"subject": "R-2", "lifted_at": NOON - SECOND, "lifted_because": "Mended"},
        {"subject": "R-2", "lifted_because": "Mended"},
    ),
    *checks("interval_kind", Interval, {"kind": "kite"}),
    *checks("interval_says_one", Interval, {"name": "tendon", "every_days": None}),
    *(
        case
        for column in ("every_hours", "every_rig_ups", "every_sun_hours", "every_days")
        for case in checks(
            f"interval_{column}", Interval, {"name": "tendon", "every_days": 5, column: 10_001}
        )
    ),
    *outside("inspection_occasion", Inspection, "occasion", "yearly"),
    *checks("inspection_failed_says_why", Inspection, {"passed": False}),
    *outside("inspection_carried", Inspection, "carried_kg", -0.1, 60.1),
    *outside("rig_wear_rig_ups", RigWear, "rig_ups", 2),
]

COMPLETE = [
    pytest.param(kind, column, id=f"a {kind} has its {column}")
    for kind, spec in SPECS.items()
    for column in spec
    if not column.startswith("cutout")
]


@dataclass(frozen=True)
class Twin:
    """Two rows that cannot both be: the columns in which they meet, and what the second may differ in."""

    constraint: str
    model: type[models.Model]
    columns: tuple[str, ...]
    other: Callable[[Rows], dict[str, Any]] = lambda rows: {}

    def __str__(self) -> str:
        return self.constraint


def another_item(rows: Rows) -> dict[str, Any]:
    item = rows.item()
    return {"item": item, "hold": rows.hold(item, live=False)}


TWINS = [
    Twin("stations_station.slug", Station, ("slug",)),
    Twin("wind_limit_per_level", WindLimit, ("station_id", "level"), lambda rows: {"mean_ms": 5}),
    Twin("people_user.username", User, ("username",)),
    Twin("one_open_posting_per_role", Posting, ("user_id", "station_id", "role")),
    Twin("people_medicalnote.rider", MedicalNote, ("rider_id",), lambda rows: {"note": "Allergy"}),
    Twin("check_list_version_once", CheckList, ("station_id", "check_for", "version")),
    Twin("source_once", Source, ("station_id", "url"), lambda rows: {"kind": "metar"}),
    Twin("hour_once_per_run", Hour, ("run_id", "starts_at"), lambda rows: {"mean_ms": 1}),
    Twin("observation_once", Observation, ("station_id", "kind", "at"), lambda rows: {"mean_ms": 1}),
    Twin("model_once", ItemModel, ("kind", "name"), lambda rows: {"area_m2": 4.7}),
    Twin("item_tag_once", Item, ("station_id", "tag")),
    Twin("one_item_per_part", KitPart, ("outing_id", "part"), another_item),
    Twin("bookings_kitpart.hold", KitPart, ("hold_id",), lambda rows: {"dropped_at": NOON}),
    Twin("card_per_kit", Card, ("outing_id", "kit_no")),
    Twin("phase_once_per_due_time", PhaseChange, ("outing_id", "phase", "due_at")),
    Twin("late_check_once", LateCheck, ("by_id", "once"), lambda rows: {"why": "Everybody was called in."}),
    Twin("afloat_latesettled.late", LateSettled, ("late_id",)),
    Twin("afloat_acknowledgement.change", Acknowledgement, ("change_id",)),
    Twin("escalation_step_once", Escalation, ("change_id", "step")),
    Twin("contact_place_once", WatchContact, ("station_id", "place"), lambda rows: {"name": "Ida"}),
    Twin("one_recall_at_a_time", Recall, ("station_id",), lambda rows: {"reason": "Fog"}),
    Twin("afloat_logcorrection.log", LogCorrection, ("log_id",), lambda rows: {"reason": "Thunder flash"}),
    Twin("one_hook_per_station", Hook, ("station_id",), lambda rows: {"url": "https://other.invalid/"}),
    Twin("call_once", Call, ("hook_id", "event"), lambda rows: {"body": "[]"}),
    Twin("return_line_once", ReturnLine, ("check_made_id", "item_id"), lambda rows: {"back": False}),
    Twin("wear_once", WearPosting, ("outing_id", "item_id"), lambda rows: {"water_s": 1}),
    Twin("held_back_once", HoldBack, ("item_id", "cause", "subject"), lambda rows: {"text": "Again"}),
    Twin("interval_once_per_kind", Interval, ("station_id", "kind", "name"), lambda rows: {"every_days": 9}),
    Twin("rig_wear_once", RigWear, ("rig_id", "item_id", "starts_at"), lambda rows: {"rig_ups": 0}),
    Twin(
        "rig_up_counted_once",
        RigWear,
        ("rig_id", "item_id"),
        lambda rows: {"starts_at": NOON + HOUR, "ends_at": NOON + 2 * HOUR},
    ),
    Twin("mail_letter.event", Letter, ("event",)),
    Twin("once_per_user_and_key", Once, ("user_id", "key"), lambda rows: {"act": "issue kit"}),
]

TRIED_BELOW = {
    *("bench_grace", "bench_released_by", "interval_once_per_model"),
    *(f"model_{kind}_complete" for kind in SPECS),
    *(f"{part}_in_one_rig" for part in ("sail", "mast", "boom", "extension", "base")),
    "item_out_once",
}


def ours() -> list[type[models.Model]]:
    """Our tables, but for those of apps that try their own beside their services."""
    return [
        model
        for model in apps.get_models()
        if model.__module__.startswith("rentals.") and not tried_elsewhere(model._meta.app_label)
    ]


def test_every_constraint_of_every_table_is_tried_here() -> None:
    declared = {constraint.name for model in ours() for constraint in model._meta.constraints}
    declared |= {
        f"{model._meta.db_table}.{field.name}"
        for model in ours()
        for field in model._meta.local_concrete_fields
        if field.unique and not field.primary_key
    }

    tried = {case.constraint for case in CHECKS} | {twin.constraint for twin in TWINS} | TRIED_BELOW

    assert tried == declared


def test_every_constraint_that_a_model_declares_stands_in_the_database(db: None) -> None:
    missing = []
    for model in ours():
        with connection.cursor() as cursor:
            found = connection.introspection.get_constraints(cursor, model._meta.db_table)
        for constraint in model._meta.constraints:
            there = found.get(constraint.name)
            is_check = isinstance(constraint, CheckConstraint)
            if there is None or not (there["check"] if is_check else there["unique"]):
                missing.append(constraint.name)

    assert missing == []


@pytest.mark.parametrize("case", CHECKS, ids=str)
def test_a_row_that_cannot_be_is_refused(rows: Rows, case: Case) -> None:
    valid = rows.one_of(case.model)

    with refused_by(case.constraint):
        inserted(copied(valid, **unlike(valid, rows), **case.wrong))


def unlike(valid: models.Model, rows: Rows) -> dict[str, Any]:
    """What keeps a copy clear of the original where a rule would speak before the constraint."""
    if isinstance(valid, Outing):
        return {"rider_id": rows.another_rider().pk}
    return {"live": False} if isinstance(valid, Hold) else {}


@pytest.mark.parametrize(("kind", "column"), COMPLETE)
def test_a_model_without_a_number_of_its_kind_is_refused(rows: Rows, kind: Kind, column: str) -> None:
    with refused_by(f"model_{kind}_complete"):
        inserted(copied(rows.model(kind), name="new", **{column: None}))


@pytest.mark.parametrize("twin", TWINS, ids=str)
def test_a_second_row_of_what_is_there_once_is_refused(rows: Rows, twin: Twin) -> None:
    first = rows.one_of(twin.model)
    second = copied(first, **twin.other(rows))

    with refused_as_twin(twin.columns):
        inserted(second)


@pytest.mark.parametrize("part", RIG_PARTS)
def test_a_part_stands_in_one_rig_until_that_is_taken_apart(rows: Rows, part: Kind) -> None:
    first = rows.one_of(Rig)
    parts = {each.value: rows.item(each) for each in RIG_PARTS} | {part.value: getattr(first, part)}
    second = Rig(station=rows.station, built_at=NOON + HOUR, **parts)

    with refused_as_twin((f"{part}_id",)):
        inserted(second)

    Rig.objects.update(derigged_at=NOON + HOUR)
    inserted(second)


def test_an_item_is_with_one_rider_until_it_is_returned(rows: Rows) -> None:
    item = rows.item(state="issued")
    first = rows.part(rows.outing(), item, issued_at=NOON)
    later = rows.outing(NOON + 3 * HOUR, NOON + 4 * HOUR)
    second = KitPart(
        outing=later, item=item, hold=rows.hold(item, live=False), part="sail", issued_at=NOON + 3 * HOUR
    )

    with refused_as_twin(("item_id",)):
        inserted(second)

    KitPart.objects.filter(pk=first.pk).update(returned_at=NOON + HOUR)
    inserted(second)


def test_a_posting_that_ended_leaves_room_for_the_same_again(rows: Rows) -> None:
    first = rows.one_of(Posting)
    Posting.objects.update(until=date(2027, 6, 1))

    inserted(copied(first, since=date(2027, 6, 1)))

    assert Posting.objects.count() == 2


@pytest.mark.parametrize(
    ("constraint", "wrong"),
    [
        ("bench_grace", {"grace_days": 31}),
        ("bench_released_by", {"released_by": "desk"}),
    ],
)
def test_a_bench_is_settled_within_bounds(rows: Rows, constraint: str, wrong: dict[str, Any]) -> None:
    with refused_by(constraint):
        inserted(Setting(station=rows.station, **wrong))


def test_an_interval_of_a_model_is_there_once(rows: Rows) -> None:
    facts = {"station": rows.station, "kind": "base", "name": "weekly look", "every_days": 5}
    model = rows.model(Kind.BASE)
    inserted(Interval(**facts, model=model))

    with refused_as_twin(("station_id", "model_id", "name")):
        inserted(Interval(**facts, model=model))
    inserted(Interval(**facts))


def test_what_was_lifted_may_hold_an_item_back_again(rows: Rows) -> None:
    first = rows.one_of(HoldBack)
    HoldBack.objects.update(lifted_at=NOON + HOUR, lifted_because="Mended")

    inserted(copied(first))

    assert HoldBack.objects.count() == 2
