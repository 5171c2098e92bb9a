"""Launch gates: what stands between a rider and the water, each with the sentence that opens it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, NamedTuple

from rigging.checks.facts import (
    AID_SCOPE_KG,
    DEFAULT_LIMITS,
    HARD_GATES,
    GateLimits,
    LaunchFacts,
    aid_needed_n,
    suit_needed_mm,
)
from rigging.levels import Level
from rigging.reason import COMMON_PRACTICE, FROM_MEMORY, POLICY, Input, Reason
from rigging.sun import Polar
from rigging.units import BadValue, aware, in_range, knots, one_of
from rigging.wind import Shore

MAX_WIND_MS: Final = 80.0

CAUTION: Final = (
    "Guidance for trained staff. A passed gate doesn't make a launch safe: look at the rider, the water and "
    "the sky. Local rules and the rescue service come first."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """One gate: passed or not, hard or soft, what to tell the desk, and why."""

    name: str
    passed: bool
    hard: bool
    text: str
    reason: Reason


class _Verdict(NamedTuple):
    passed: bool
    text: str
    rule: str
    source: str = f"{COMMON_PRACTICE}; {POLICY}"
    inputs: tuple[Input, ...] = ()
    firm: bool = False
    """Too far off for anybody's word to open the gate, soft or not."""


def gates(
    facts: LaunchFacts,
    limits: GateLimits = DEFAULT_LIMITS,
    hard: Mapping[str, bool] = HARD_GATES,
) -> tuple[Gate, ...]:
    """Judge every gate. A fact that isn't known fails its gate, with the words to enter it.

    Args:
        facts: the outing as it stands.
        limits: the station's limits.
        hard: gate name -> hard; a name left out is hard.

    Raises:
        BadValue: for datetimes without zone, numbers out of range, unknown levels, shores and gate names.
    """
    for name in hard:
        if name not in _JUDGES:
            raise BadValue("gate", name, "", f"one of {', '.join(_JUDGES)}")
    aware("now", facts.now)
    return tuple(_gate(name, judge(facts, limits), hard.get(name, True)) for name, judge in _JUDGES.items())


def may_launch(judged: Sequence[Gate], overrides: Mapping[str, str] | None = None) -> bool:
    """Tell whether the rider may launch: every gate passed, or soft and overridden with a reason.

    Args:
        judged: all gates of `gates`; a missing one refuses the launch.
        overrides: soft gate -> the instructor's reason; a blank reason doesn't count.
    """
    reasons = overrides or {}
    complete = {gate.name for gate in judged} == set(_JUDGES)
    return complete and all(
        gate.passed or (not gate.hard and bool(reasons.get(gate.name, "").strip())) for gate in judged
    )


def _gate(name: str, verdict: _Verdict, hard: bool) -> Gate:
    reason = Reason(verdict.text, verdict.rule, verdict.source, verdict.inputs)
    firm = hard or (verdict.firm and not verdict.passed)
    return Gate(name=name, passed=verdict.passed, hard=firm, text=verdict.text, reason=reason)


def _unknown(what: str, rule: str) -> _Verdict:
    return _Verdict(False, f"Not known: {what}.", rule)


def _checklist(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = "every line of the launch check passed for this outing"
    if facts.checklist_passed is None:
        return _unknown("go through the launch check for this outing and log it", rule)
    if facts.checklist_passed is True and not facts.checklist_open:
        return _Verdict(True, "Launch check passed.", rule)
    open_lines = "; ".join(facts.checklist_open) or "see the logged check"
    return _Verdict(False, f"Launch check not passed: {open_lines}.", rule)


def _kit_state(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = "no item that is held back, on the bench or withdrawn goes afloat"
    if not facts.items:
        return _unknown("enter the kit of this outing", rule)
    barred = [f"{item.tag} is {item.state}" for item in facts.items if item.state not in limits.ready_states]
    text = f"Swap the kit: {', '.join(barred).replace('_', ' ')}." if barred else "All kit is free to go out."
    return _Verdict(not barred, text, rule)


def _rig_fit(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = "sail, mast, extension, boom and base fit each other"
    if facts.rig_fits is None:
        return _unknown("enter all parts of the rig so that their fit can be checked", rule)
    if facts.rig_fits is True:
        return _Verdict(True, "The rig's parts fit.", rule)
    return _Verdict(False, f"The rig's parts don't fit: {'; '.join(facts.misfits) or 'see the rig'}.", rule)


def _waiver(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = "a signed waiver on record"
    if facts.waiver_signed is True:
        return _Verdict(True, "Waiver signed.", rule)
    return _Verdict(False, "Have the waiver signed and enter it.", rule)


def _guardian(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = f"under {limits.adult_years:.0f} a guardian's consent on record"
    if facts.age_years is None:
        return _unknown("enter the rider's date of birth", rule)
    age = in_range("age_years", facts.age_years, "years", 0, 120)
    inputs = (Input("age", age, "years"),)
    if age >= limits.adult_years:
        return _Verdict(True, "Adult: no guardian needed.", rule, inputs=inputs)
    if facts.guardian_consents is True:
        return _Verdict(True, f"Minor ({age:.0f}): guardian consents.", rule, inputs=inputs)
    return _Verdict(False, f"Minor ({age:.0f}): enter a guardian's consent.", rule, inputs=inputs)


def _swim(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = "the rider (or guardian) states that they swim"
    if facts.swim_stated is True:
        return _Verdict(True, "Swim statement given.", rule)
    return _Verdict(False, "Ask for the swim statement and enter it.", rule)


def _wind(facts: LaunchFacts, limits: GateLimits, when: str, mean: float, gust: float) -> _Verdict:
    rule = f"mean within the level's cap, gusts within {limits.gust_factor:g} times the cap"
    if facts.level is None or facts.cap_ms is None:
        return _unknown("enter the rider's level", rule)
    level = _level(facts)
    cap = in_range("cap_ms", facts.cap_ms, "m/s", 0, MAX_WIND_MS)
    gust_cap = cap * limits.gust_factor
    mean_ms, gust_ms = (
        in_range("mean_ms", mean, "m/s", 0, MAX_WIND_MS),
        in_range("gust_ms", gust, "m/s", 0, MAX_WIND_MS),
    )
    passed = mean_ms <= cap and gust_ms <= gust_cap
    blows = f"{when} {_kn(mean_ms)} gusting {_kn(gust_ms)} kn"
    numbers = f"{blows}; {level} up to {_kn(cap)} gusting {_kn(gust_cap)} kn"
    text = f"{numbers}." if passed else f"Too much wind for the level: {numbers}."
    firm = mean_ms > cap * limits.override_factor or gust_ms > gust_cap * limits.override_factor
    if firm:
        text += " That is too far over for anybody's word."
    inputs = (
        Input("mean", mean_ms, "m/s"),
        Input("gust", gust_ms, "m/s"),
        Input("cap", cap, "m/s"),
        Input("gust cap", gust_cap, "m/s"),
    )
    return _Verdict(passed, text[0].upper() + text[1:], rule, inputs=inputs, firm=firm)


def too_much_wind(
    level: Level,
    cap_ms: float,
    mean_ms: float,
    gust_ms: float | None,
    limits: GateLimits = DEFAULT_LIMITS,
) -> str:
    """Say in words that it blows over the limit of a level already afloat; empty when it does not.

    Args:
        level: the rider's.
        cap_ms: the level's limit on mean beach wind [m/s].
        mean_ms: beach wind now [m/s].
        gust_ms: its gusts [m/s]; None when only the mean was measured.
        limits: the station's limits.

    Raises:
        BadValue: for winds outside 0 to 80 m/s, an unknown level.

    Source: common practice, no source; the limits are a station setting.
    """
    word = one_of("level", level, Level)
    cap = in_range("cap_ms", cap_ms, "m/s", 0, MAX_WIND_MS)
    mean = in_range("mean_ms", mean_ms, "m/s", 0, MAX_WIND_MS)
    gust = mean if gust_ms is None else in_range("gust_ms", gust_ms, "m/s", 0, MAX_WIND_MS)
    gust_cap = cap * limits.gust_factor
    if mean <= cap and gust <= gust_cap:
        return ""
    blows = f"{_kn(mean)} kn" if gust_ms is None else f"{_kn(mean)} gusting {_kn(gust)} kn"
    return f"The wind has risen to {blows}; {word} up to {_kn(cap)} gusting {_kn(gust_cap)} kn. Call them in."


def _wind_now(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = f"wind on the beach not older than {limits.wind_age_min:.0f} min, within the level's cap"
    if facts.wind_mean_ms is None or facts.wind_gust_ms is None or facts.wind_at is None:
        return _unknown("measure the wind on the beach (mean and gusts) and enter it", rule)
    age_min = (aware("now", facts.now) - aware("wind_at", facts.wind_at)) / timedelta(minutes=1)
    if abs(age_min) > limits.wind_age_min:
        return _Verdict(False, f"The wind was measured {_span(age_min)}: measure it again.", rule)
    return _wind(facts, limits, "wind now", facts.wind_mean_ms, facts.wind_gust_ms)


def _wind_ahead(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    if facts.ahead_mean_ms is None or facts.ahead_gust_ms is None:
        return _unknown(
            "enter a forecast (mean and gusts) up to the due time", "forecast within the level's cap"
        )
    return _wind(facts, limits, "forecast", facts.ahead_mean_ms, facts.ahead_gust_ms)


def _shore(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = f"off-shore wind: only {_listed(limits.off_shore_levels)}, and only with a manned safety boat"
    if facts.shore is None:
        return _unknown("enter the wind's direction and the station's bearing", rule)
    if one_of("shore", facts.shore, Shore) != Shore.OFF_SHORE:
        return _Verdict(True, f"Wind is {facts.shore.replace('_', '-')}.", rule)
    if facts.level is None:
        return _unknown("enter the rider's level (the wind is off-shore)", rule)
    level = _level(facts)
    if level not in limits.off_shore_levels:
        return _Verdict(False, f"Off-shore wind: no launch for {level}.", rule)
    if facts.safety_boat_manned is True:
        return _Verdict(True, f"Off-shore wind: {level} with the safety boat manned.", rule)
    return _Verdict(
        False, f"Off-shore wind: {level} only with the safety boat manned; man it and enter it.", rule
    )


def _safety_boat(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = f"safety boat manned for lessons, for minors, and for {_listed(limits.boat_levels)}"
    if facts.safety_boat_manned is True:
        return _Verdict(True, "Safety boat manned.", rule)
    if None in (facts.level, facts.age_years, facts.lesson):
        return _unknown(
            "enter level, date of birth, and whether this is a lesson; or man the safety boat", rule
        )
    minor = facts.age_years is not None and facts.age_years < limits.adult_years
    if not (facts.lesson is not False or minor or _level(facts) in limits.boat_levels):
        return _Verdict(True, f"Not needed for {facts.level} outside lessons.", rule)
    return _Verdict(False, "Man the safety boat and enter it.", rule)


def _daylight(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = f"afloat only after civil dawn, back {limits.dusk_margin_min:.0f} min before civil dusk"
    source = f"civil twilight: sun 6 degrees down, astral; margin {COMMON_PRACTICE}; {POLICY}"
    if facts.due is None or facts.sun is None:
        return _unknown("enter the due time and the station's position", rule)
    now, due = aware("now", facts.now), aware("due", facts.due)
    if due <= now:
        return _Verdict(False, "The due time has passed: enter a new one.", rule, source)
    if facts.sun.civil_dawn is None or facts.sun.civil_dusk is None:
        light = facts.sun.polar is Polar.DAY or None not in (facts.sun.sunrise, facts.sun.sunset)
        text = "Twilight lasts all night." if light else "There is no daylight today."
        return _Verdict(light, text, rule, source)
    dusk = aware("civil_dusk", facts.sun.civil_dusk)
    if now < aware("civil_dawn", facts.sun.civil_dawn):
        return _Verdict(False, f"Too dark until civil dawn at {facts.sun.civil_dawn:%H:%M}.", rule, source)
    latest = dusk - timedelta(minutes=limits.dusk_margin_min)
    passed = due <= latest
    end = latest.astimezone(facts.sun.civil_dusk.tzinfo)
    text = f"Due {facts.due:%H:%M}, latest {end:%H:%M} (civil dusk {facts.sun.civil_dusk:%H:%M})"
    return _Verdict(passed, f"{text}." if passed else f"Too late in the day: {text}.", rule, source)


def _lightning(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = f"{limits.lightning_hold_min:.0f} min after the last lightning or thunder"
    source = f"30-30 rule, US National Weather Service (older wording); {POLICY}"
    if facts.last_lightning_at is None:
        return _Verdict(True, "No lightning or thunder logged; log any that you see or hear.", rule, source)
    ends = lightning_hold_ends(facts.last_lightning_at, limits)
    local = ends.astimezone(facts.now.tzinfo)
    passed = aware("now", facts.now) >= ends
    text = (
        f"Lightning hold ended {local:%H:%M}."
        if passed
        else f"Lightning hold until {local:%H:%M}; all ashore."
    )
    return _Verdict(passed, text, rule, source)


def lightning_hold_ends(last_lightning_at: datetime, limits: GateLimits = DEFAULT_LIMITS) -> datetime:
    """Return until when lightning or thunder holds everybody ashore; raises BadValue for a naive time."""
    return aware("last_lightning_at", last_lightning_at) + timedelta(minutes=limits.lightning_hold_min)


def _suit(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = "suit thick enough for the water"
    if facts.water_c is None:
        return _unknown("measure the water temperature and enter it", rule)
    water = in_range("water_c", facts.water_c, "C", -3, 45)
    needed = suit_needed_mm(water, limits)
    inputs = (Input("water", water, "°C"),)
    if facts.drysuit is True:
        return _Verdict(True, f"Drysuit in {water:.0f} °C water.", rule, inputs=inputs)
    if needed is None:
        return _Verdict(False, f"Water {water:.0f} °C: drysuit or no launch.", rule, inputs=inputs)
    if facts.suit_mm is None:
        return _unknown(f"enter the suit's thickness (water {water:.0f} °C asks for {needed:.0f} mm)", rule)
    suit = in_range("suit_mm", facts.suit_mm, "mm", 0, 12)
    text = f"Suit {suit:g} mm, water {water:.0f} °C asks for {needed:.0f} mm."
    return _Verdict(suit >= needed, text, rule, inputs=(*inputs, Input("suit", suit, "mm")))


def _buoyancy_aid(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    rule = "buoyancy aid worn, with the buoyancy that the body mass needs"
    if facts.mass_kg is None:
        return _unknown("enter the rider's mass", rule)
    mass = in_range("mass_kg", facts.mass_kg, "kg", 10, 200)
    needed = aid_needed_n(mass, limits)
    level = 50 if mass > AID_SCOPE_KG else 100
    asks = f"{mass:.0f} kg asks for {needed:.0f} N (level {level})"
    if facts.buoyancy_n is None:
        return _unknown(f"enter the buoyancy aid worn ({asks})", rule)
    worn = in_range("buoyancy_n", facts.buoyancy_n, "N", 0, 400)
    return _Verdict(
        worn >= needed,
        f"Buoyancy aid {worn:.0f} N; {asks}.",
        rule,
        f"ISO 12402-5 and -4, {FROM_MEMORY}: check the standard; {POLICY}",
        (Input("mass", mass, "kg"), Input("buoyancy", worn, "N")),
    )


def _instructor(facts: LaunchFacts, limits: GateLimits) -> _Verdict:
    boat = facts.safety_boat_manned is True
    most = limits.riders_per_instructor if boat else limits.riders_without_boat
    on = "with" if boat else "without"
    rule = f"lessons and tasters: instructor present, at most {most:.0f} riders to one {on} a safety boat"
    source = f"1:6 from a national association's school checklist; {POLICY}"
    if facts.lesson is None or facts.level is None:
        return _unknown("enter the level, and whether this is a lesson", rule)
    if facts.lesson is False and _level(facts) not in limits.instructor_levels:
        return _Verdict(True, "No lesson: no instructor needed.", rule, source)
    if facts.instructor_present is not True:
        return _Verdict(False, "Enter the instructor who is with the rider.", rule, source)
    if facts.riders_per_instructor is None:
        return _unknown("enter how many riders the instructor has", rule)
    riders = in_range("riders_per_instructor", facts.riders_per_instructor, "", 0, 1000)
    text = f"{riders:g} riders to one instructor, at most {most:.0f} {on} the safety boat manned."
    return _Verdict(riders <= most, text, rule, source, (Input("riders per instructor", riders),))


def _level(facts: LaunchFacts) -> str:
    return one_of("level", facts.level, Level)


def _listed(levels: frozenset[Level]) -> str:
    return ", ".join(level for level in Level if level in levels) or "nobody"


def _kn(speed_ms: float) -> str:
    return f"{knots(speed_ms):.0f}"


def _span(minutes: float) -> str:
    return f"{minutes:.0f} min ago" if minutes >= 0 else f"{-minutes:.0f} min in the future"


_JUDGES: Final[Mapping[str, Callable[[LaunchFacts, GateLimits], _Verdict]]] = {
    "checklist": _checklist,
    "kit_state": _kit_state,
    "rig_fit": _rig_fit,
    "waiver": _waiver,
    "guardian": _guardian,
    "swim": _swim,
    "wind_now": _wind_now,
    "wind_ahead": _wind_ahead,
    "shore": _shore,
    "safety_boat": _safety_boat,
    "daylight": _daylight,
    "lightning": _lightning,
    "suit": _suit,
    "buoyancy_aid": _buoyancy_aid,
    "instructor": _instructor,
}
