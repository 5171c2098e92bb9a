"""Launch gates: each closed by its own fact, by a fact not known, and opened by nothing else."""

from contextlib import suppress
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging import checks
from rigging.checks import Gate, GateLimits, KitItem, LaunchFacts
from rigging.sizing import Level
from rigging.sun import sun_times
from rigging.units import BadValue
from rigging.wind import Shore

ZONE = ZoneInfo("Europe/London")
NOW = datetime(2026, 7, 4, 14, 0, tzinfo=ZONE)
SUN = sun_times(date(2026, 7, 4), 54.1, -3.2, ZONE)
ARCTIC_ZONE = ZoneInfo("Europe/Oslo")

READY = LaunchFacts(
    now=NOW,
    due=NOW + timedelta(hours=2),
    level=Level.INTERMEDIATE,
    age_years=34,
    mass_kg=75,
    waiver_signed=True,
    guardian_consents=None,
    swim_stated=True,
    lesson=False,
    instructor_present=None,
    riders_per_instructor=None,
    cap_ms=10.8,
    wind_mean_ms=8.0,
    wind_gust_ms=10.5,
    wind_at=NOW - timedelta(minutes=10),
    ahead_mean_ms=9.0,
    ahead_gust_ms=12.0,
    shore=Shore.SIDE_SHORE,
    safety_boat_manned=False,
    sun=SUN,
    last_lightning_at=None,
    water_c=16.0,
    suit_mm=4.0,
    buoyancy_n=50.0,
    rig_fits=True,
    items=(KitItem(tag="S12", state="rigged"),),
    checklist_passed=True,
)
"""An adult intermediate with everything in order. Limits: common practice, no source."""


def with_(**changed: object) -> LaunchFacts:
    return replace(READY, **changed)  # type: ignore[arg-type]


def gate(name: str, **changed: object) -> Gate:
    return next(each for each in checks.gates(with_(**changed)) if each.name == name)


def test_it_opens_every_gate_for_a_rider_with_everything_in_order() -> None:
    judged = checks.gates(READY)

    assert [each.name for each in judged if not each.passed] == []
    assert checks.may_launch(judged)


@pytest.mark.parametrize(
    ("name", "changed", "words"),
    [
        ("checklist", {"checklist_passed": False}, "Launch check not passed"),
        ("checklist", {"checklist_open": ("Fin tight",)}, "Fin tight"),
        ("kit_state", {"items": (KitItem(tag="S12", state="held_back"),)}, "S12 is held back"),
        ("kit_state", {"items": (KitItem(tag="S12", state="on_bench"),)}, "S12 is on bench"),
        ("kit_state", {"items": (KitItem(tag="S12", state="withdrawn"),)}, "S12 is withdrawn"),
        ("rig_fit", {"rig_fits": False, "misfits": ("boom 8 cm short",)}, "boom 8 cm short"),
        ("waiver", {"waiver_signed": False}, "waiver"),
        ("guardian", {"age_years": 15}, "guardian's consent"),
        ("swim", {"swim_stated": False}, "swim statement"),
        ("wind_now", {"wind_mean_ms": 10.9}, "Too much wind"),
        ("wind_now", {"wind_gust_ms": 13.6}, "Too much wind"),
        ("wind_now", {"wind_at": NOW - timedelta(minutes=61)}, "61 min ago"),
        ("wind_ahead", {"ahead_gust_ms": 13.6}, "Too much wind"),
        ("shore", {"shore": Shore.OFF_SHORE}, "only with the safety boat manned"),
        ("safety_boat", {"lesson": True}, "Man the safety boat"),
        ("safety_boat", {"level": Level.BEGINNER}, "Man the safety boat"),
        ("safety_boat", {"age_years": 12}, "Man the safety boat"),
        ("daylight", {"due": NOW + timedelta(hours=9)}, "Too late in the day"),
        ("daylight", {"due": NOW - timedelta(minutes=1)}, "due time has passed"),
        ("daylight", {"now": datetime(2026, 7, 4, 3, tzinfo=ZONE)}, "Too dark until civil dawn"),
        ("lightning", {"last_lightning_at": NOW - timedelta(minutes=29)}, "hold until 14:01"),
        ("lightning", {"last_lightning_at": NOW + timedelta(minutes=5)}, "hold until 14:35"),
        ("suit", {"suit_mm": 3.0}, "asks for 4 mm"),
        ("suit", {"water_c": 7.0}, "drysuit or no launch"),
        ("buoyancy_aid", {"buoyancy_n": 45.0}, "75 kg asks for 50 N"),
        ("instructor", {"lesson": True}, "instructor"),
        (
            "instructor",
            {
                "lesson": True,
                "instructor_present": True,
                "riders_per_instructor": 7,
                "safety_boat_manned": True,
            },
            "7 riders to one instructor, at most 6",
        ),
        (
            "instructor",
            {"lesson": True, "instructor_present": True, "riders_per_instructor": 5},
            "5 riders to one instructor, at most 4 without the safety boat",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_it_closes_a_gate_and_says_what_to_do(name: str, changed: dict[str, object], words: str) -> None:
    judged = gate(name, **changed)

    assert not judged.passed
    assert words in judged.text


@pytest.mark.parametrize(
    ("name", "changed"),
    [
        ("guardian", {"age_years": 15, "guardian_consents": True}),
        ("shore", {"shore": Shore.OFF_SHORE, "safety_boat_manned": True}),
        ("safety_boat", {"lesson": True, "safety_boat_manned": True}),
        ("lightning", {"last_lightning_at": NOW - timedelta(minutes=30)}),
        ("suit", {"water_c": 5.0, "drysuit": True, "suit_mm": None}),
        ("instructor", {"lesson": True, "instructor_present": True, "riders_per_instructor": 4}),
        (
            "instructor",
            {
                "lesson": True,
                "instructor_present": True,
                "riders_per_instructor": 6,
                "safety_boat_manned": True,
            },
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_it_opens_a_gate_when_its_condition_is_met(name: str, changed: dict[str, object]) -> None:
    assert gate(name, **changed).passed


@pytest.mark.parametrize("level", [Level.TASTER, Level.BEGINNER, Level.IMPROVER])
def test_it_never_lets_learners_out_in_off_shore_wind(level: Level) -> None:
    # "Avoid offshore winds until very proficient": windsurfing.org/train02
    assert not gate("shore", shore=Shore.OFF_SHORE, level=level, safety_boat_manned=True).passed


UNKNOWN = [
    ("checklist", "checklist_passed"),
    ("rig_fit", "rig_fits"),
    ("waiver", "waiver_signed"),
    ("guardian", "age_years"),
    ("swim", "swim_stated"),
    ("wind_now", "cap_ms"),
    ("wind_now", "level"),
    ("wind_now", "wind_mean_ms"),
    ("wind_now", "wind_gust_ms"),
    ("wind_now", "wind_at"),
    ("wind_ahead", "ahead_mean_ms"),
    ("wind_ahead", "ahead_gust_ms"),
    ("shore", "shore"),
    ("safety_boat", "lesson"),
    ("safety_boat", "level"),
    ("safety_boat", "age_years"),
    ("daylight", "due"),
    ("daylight", "sun"),
    ("suit", "water_c"),
    ("suit", "suit_mm"),
    ("buoyancy_aid", "mass_kg"),
    ("buoyancy_aid", "buoyancy_n"),
    ("instructor", "lesson"),
    ("instructor", "level"),
]


@pytest.mark.parametrize(("name", "fact"), UNKNOWN, ids=[f"{name}-{fact}" for name, fact in UNKNOWN])
def test_it_closes_a_gate_whose_fact_is_not_known_and_says_what_to_enter(name: str, fact: str) -> None:
    judged = gate(name, **{fact: None})

    assert not judged.passed
    assert any(word in judged.text.lower() for word in ("enter", "measure", "log it"))


def test_it_does_not_know_a_kit_without_items() -> None:
    assert not gate("kit_state", items=()).passed


def test_it_asks_for_the_number_of_riders_of_an_instructor() -> None:
    assert not gate("instructor", lesson=True, instructor_present=True).passed


def test_it_lets_riders_out_all_night_where_the_sun_stays_up() -> None:
    sun = sun_times(date(2026, 7, 4), 70.0, 25.0, ARCTIC_ZONE)

    assert gate("daylight", sun=sun, due=NOW + timedelta(hours=9)).passed


def test_it_keeps_riders_ashore_in_the_polar_night() -> None:
    sun = sun_times(date(2026, 12, 20), 80.0, 25.0, ARCTIC_ZONE)

    assert "no daylight" in gate("daylight", sun=sun).text


def test_it_refuses_a_closed_hard_gate_whatever_the_reason() -> None:
    judged = checks.gates(with_(waiver_signed=False))

    assert not checks.may_launch(judged, {"waiver": "forgot the form"})


@pytest.mark.parametrize(("reason", "launches"), [("thin suit, short run, boat out", True), ("  ", False)])
def test_it_lets_an_instructor_override_a_soft_gate_with_a_reason(reason: str, launches: bool) -> None:
    judged = checks.gates(with_(suit_mm=3.0))

    assert checks.may_launch(judged, {"suit": reason}) is launches


def test_it_takes_hardness_from_the_stations_settings() -> None:
    judged = checks.gates(with_(suit_mm=3.0), hard={**checks.HARD_GATES, "suit": True})

    assert not checks.may_launch(judged, {"suit": "short run"})


def test_it_takes_a_gate_without_setting_for_hard() -> None:
    assert all(each.hard for each in checks.gates(READY, hard={}))


def test_it_refuses_a_launch_on_a_list_with_a_gate_missing() -> None:
    assert not checks.may_launch(checks.gates(READY)[1:])
    assert not checks.may_launch(())


def test_it_gives_every_gate_a_rule_and_a_source() -> None:
    assert all(each.reason.rule and each.reason.source for each in checks.gates(READY))


@pytest.mark.parametrize(
    ("mass_kg", "newtons"),
    # ISO 12402-5 level 50 (ISO 12402-4 level 100 up to 25 kg), from memory: check the standard
    [(20, 40), (25, 40), (26, 35), (40, 35), (41, 40), (60, 40), (61, 45), (70, 45), (71, 50), (120, 50)],
)
def test_it_knows_the_buoyancy_that_a_body_mass_needs(mass_kg: float, newtons: float) -> None:
    assert checks.aid_needed_n(mass_kg) == newtons


@pytest.mark.parametrize(
    ("water_c", "mm"),
    # common practice, no source
    [(25, 0), (24, 0), (23.9, 2), (20, 2), (17, 3), (14, 4), (11, 5), (8, 5), (7.9, None)],
)
def test_it_knows_the_suit_that_the_water_needs(water_c: float, mm: float | None) -> None:
    assert checks.suit_needed_mm(water_c) == mm


def test_it_holds_for_30_minutes_after_lightning() -> None:
    # 30-30 rule, US National Weather Service (older wording): resume 30 min after the last thunder
    assert GateLimits().lightning_hold_min == 30


def test_it_allows_six_riders_to_an_instructor() -> None:
    # 1:6, a national association's school checklist (windsurfingnz.org/school-standards)
    assert GateLimits().riders_per_instructor == 6


def test_it_keeps_hard_what_no_reason_makes_safe_or_lawful() -> None:
    # policy: the check itself, sound kit, a minor's guardian, light, lightning and buoyancy
    assert {"checklist", "guardian", "daylight", "lightning", "buoyancy_aid", "kit_state"} == (
        checks.ALWAYS_HARD
    )
    assert all(checks.HARD_GATES[name] for name in checks.ALWAYS_HARD)


@given(cooler=st.floats(0, 20), water_c=st.floats(0, 40))
def test_it_never_asks_for_a_thinner_suit_in_colder_water(water_c: float, cooler: float) -> None:
    warm, cold = checks.suit_needed_mm(water_c), checks.suit_needed_mm(max(water_c - cooler, -3))

    assert cold is None or (warm is not None and cold >= warm)


ANYTHING = st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=4)
FACTS = sorted({field.name for field in fields(LaunchFacts)} - {"items", "misfits", "checklist_open", "sun"})


@given(name=st.sampled_from(FACTS), value=ANYTHING)
def test_it_answers_or_names_the_bad_fact(name: str, value: object) -> None:
    with suppress(BadValue):
        judged = checks.gates(with_(**{name: value}))

        assert len(judged) == len(checks.HARD_GATES)


def test_it_refuses_a_gate_it_does_not_know() -> None:
    with pytest.raises(BadValue, match="gate is tide"):
        checks.gates(READY, hard={"tide": True})


def test_it_reads_times_in_any_zone() -> None:
    assert gate("lightning", last_lightning_at=(NOW - timedelta(minutes=31)).astimezone(UTC)).passed


def test_it_lists_the_lines_of_the_kit_and_the_riders_last() -> None:
    keys = [key for key, _ in checks.checklist(["base", "sail"])]

    assert "base.joint" in keys
    assert keys[-1].startswith("rider.")
    assert not any(key.startswith("fin.") for key in keys)


@pytest.mark.parametrize("lists", [checks.LAUNCH, checks.RETURN], ids=["launch", "return"])
def test_it_has_unique_keys_and_lines_for_every_kind(lists: dict[str, tuple[tuple[str, str], ...]]) -> None:
    lines = checks.checklist(lists, lists)

    assert len({key for key, _ in lines}) == len(lines)
    assert set(lists) == set(checks.LAUNCH)


def test_it_refuses_a_kind_without_lines() -> None:
    with pytest.raises(BadValue, match="kind is kite"):
        checks.checklist(["kite"])


@pytest.mark.parametrize(
    ("name", "fact"), [("waiver", "waiver_signed"), ("swim", "swim_stated"), ("rig_fit", "rig_fits")]
)
def test_it_takes_no_word_for_a_yes(name: str, fact: str) -> None:
    assert not gate(name, **{fact: "no"}).passed
