"""Overdue phases: how late a rider is, what that is called, and what to do now."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from rigging.reason import COMMON_PRACTICE, POLICY, Input, Reason
from rigging.sun import Polar, SunTimes
from rigging.units import BadValue, aware, in_range, one_of

CONVENTION: Final = (
    "SAR Convention 1979, Annex, as amended by MSC.70(69), 4.4-4.5; minutes are a station setting"
)

RESCUE_FIRST: Final = (
    "In any doubt call the rescue service first; these times are the latest, never a reason to wait. "
    "Guidance for trained staff: local rules and the rescue service's word come before it."
)


class Phase(StrEnum):
    """Emergency phases of international search and rescue; `on_time` before any of them."""

    ON_TIME = "on_time"
    UNCERTAINTY = "uncertainty"
    ALERT = "alert"
    DISTRESS = "distress"

    @property
    def rank(self) -> int:
        """0 for on time to 3 for distress."""
        return list(Phase).index(self)


ACTIONS: Final[Mapping[Phase, str]] = MappingProxyType(
    {
        Phase.ON_TIME: "Keep the head count; look for the rider now and then.",
        Phase.UNCERTAINTY: "Start asking: scan the water with glasses, ring the phone, ask who came in.",
        Phase.ALERT: "Widen the search and alert the rescue service; send the safety boat if it is safe to.",
        Phase.DISTRESS: "Call the rescue service now; read them the distress sheet; keep watching the rider.",
    }
)
"""What the convention asks for in each phase (4.5.1-4.5.3), said for a beach."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseMinutes:
    """Minutes after the due time at which each phase begins. Station settings; common practice, no source.

    Raises:
        BadValue: unless 0 <= uncertainty < alert < distress <= 24 h.
    """

    uncertainty: float = 10.0
    alert: float = 25.0
    distress: float = 40.0

    def __post_init__(self) -> None:
        low = 0.0
        for name in ("uncertainty", "alert", "distress"):
            value = in_range(f"{name} minutes", getattr(self, name), "min", low, 24 * 60)
            if value == low and name != "uncertainty":
                raise BadValue(f"{name} minutes", value, "min", f"above {low:g}")
            low = value

    def of(self, phase: Phase) -> float:
        """Minutes after the due time at which `phase` begins; 0 for on time."""
        return 0.0 if phase is Phase.ON_TIME else float(getattr(self, phase.value))


@dataclass(frozen=True, slots=True, kw_only=True)
class HalvingLimits:
    """When the minutes are halved. Station settings; common practice, no source."""

    cold_water_c: float = 15.0
    sunset_min: float = 60.0
    adult_years: float = 18.0


DEFAULT_MINUTES: Final = PhaseMinutes()
DEFAULT_HALVING: Final = HalvingLimits()


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What makes lateness worse. None means not known, and counts as the worse case."""

    off_shore: bool | None
    water_c: float | None
    sun: SunTimes | None
    age_years: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseResult:
    """Where an outing stands: phase, minutes overdue (negative before due), when the next phase begins."""

    phase: Phase
    overdue_min: float
    next_phase: Phase | None
    next_phase_at: datetime | None
    reason: Reason

    @property
    def action(self) -> str:
        """What staff do in this phase."""
        return ACTIONS[self.phase]


def halving(
    due: datetime,
    conditions: Conditions,
    minutes: PhaseMinutes = DEFAULT_MINUTES,
    limits: HalvingLimits = DEFAULT_HALVING,
) -> tuple[str, ...]:
    """Return the reasons, in plain words, to halve the phases' minutes; empty when there are none.

    Light is judged at the moment when distress would be declared unhalved: so the times that a rider's
    page showed at launch never move while the evening comes.

    Raises:
        BadValue: for a due time without zone, water outside -3 to 45 C, an age outside 0 to 120.
    """
    found = (
        _off_shore(conditions.off_shore),
        _cold(conditions.water_c, limits.cold_water_c),
        _dark(due, conditions.sun, minutes, limits.sunset_min),
        _minor(conditions.age_years, limits.adult_years),
    )
    return tuple(words for words in found if words)


def _off_shore(off_shore: bool | None) -> str:
    if off_shore is None:
        return "wind against the shore not known"
    return "off-shore wind" if off_shore else ""


def _cold(water_c: float | None, limit_c: float) -> str:
    if water_c is None:
        return "water temperature not known"
    water_c = in_range("water_c", water_c, "C", -3, 45)
    return f"water {water_c:.1f} °C, under {limit_c:.0f} °C" if water_c < limit_c else ""


def _dark(due: datetime, sun: SunTimes | None, minutes: PhaseMinutes, margin_min: float) -> str:
    due_utc = aware("due", due)
    if sun is None:
        return "sunset not known"
    if sun.sunset is None:
        return "" if sun.polar is Polar.DAY else "no daylight"
    sunset = aware("sunset", sun.sunset)
    last_call = due_utc + timedelta(minutes=minutes.distress)
    if last_call < sunset - timedelta(minutes=margin_min):
        return ""
    return f"search would run within {margin_min:.0f} min of sunset ({sun.sunset:%H:%M})"


def _minor(age_years: float | None, adult_years: float) -> str:
    if age_years is None:
        return "age not known"
    age_years = in_range("age_years", age_years, "years", 0, 120)
    return f"minor ({age_years:.0f} years)" if age_years < adult_years else ""


def phase(
    due: datetime,
    now: datetime,
    minutes: PhaseMinutes = DEFAULT_MINUTES,
    *,
    halved_because: tuple[str, ...] = (),
    sighted_in_trouble: bool = False,
    reached: Phase = Phase.ON_TIME,
) -> PhaseResult:
    """Return the phase of an outing at a moment, and when the next one begins.

    Args:
        due: when the rider is to be ashore, with zone.
        now: the moment, with zone.
        minutes: when each phase begins, in minutes after `due`.
        halved_because: reasons from `halving`; any of them halves the minutes.
        sighted_in_trouble: someone saw the rider in danger: distress at once, due or not.
        reached: the phase already raised for this due time; a clock set back never lowers it.

    Raises:
        BadValue: for datetimes without zone, or a phase that is none.

    Source: phases of the SAR Convention 1979; the minutes are common practice and a station setting.
    """
    due_utc, now_utc = aware("due", due), aware("now", now)
    reached = Phase(one_of("reached", reached, Phase))
    factor = 0.5 if halved_because else 1.0
    overdue_min = (now_utc - due_utc) / timedelta(minutes=1)
    by_clock = max((each for each in Phase if _begun(each, overdue_min, minutes, factor)), key=_rank)
    current = Phase.DISTRESS if sighted_in_trouble else max(by_clock, reached, key=_rank)
    following = next((each for each in Phase if each.rank > current.rank), None)
    begins = None if following is None else due_utc + timedelta(minutes=factor * minutes.of(following))
    return PhaseResult(
        phase=current,
        overdue_min=overdue_min,
        next_phase=following,
        next_phase_at=None if begins is None else begins.astimezone(due.tzinfo),
        reason=_phase_reason(current, overdue_min, minutes, halved_because, sighted_in_trouble, by_clock),
    )


def _rank(phase: Phase) -> int:
    return phase.rank


def _begun(phase: Phase, overdue_min: float, minutes: PhaseMinutes, factor: float) -> bool:
    return phase is Phase.ON_TIME or overdue_min >= factor * minutes.of(phase)


def _phase_reason(
    current: Phase,
    overdue_min: float,
    minutes: PhaseMinutes,
    halved_because: tuple[str, ...],
    sighted: bool,
    by_clock: Phase,
) -> Reason:
    factor = 0.5 if halved_because else 1.0
    late = f"{overdue_min:.0f} min overdue" if overdue_min >= 0 else f"due in {int(-overdue_min)} min"
    halved = f", halved for: {'; '.join(halved_because)}" if halved_because else ""
    if sighted:
        text = f"Seen in trouble: distress at once ({late})."
    elif current is Phase.ON_TIME:
        text = f"On time: {late}; uncertainty from {factor * minutes.uncertainty:g} min after{halved}."
    else:
        starts = f"{current.value} starts {factor * minutes.of(current):g} min after the due time"
        kept = "" if by_clock is current else "; it was raised before and stands until the rider is found"
        text = f"{late.capitalize()}: {starts}{halved}{kept}."
    return Reason(
        text=text,
        rule="phase by minutes after due, halved where lateness is worse; distress when seen in trouble",
        source=f"{CONVENTION}; {COMMON_PRACTICE}; {POLICY}",
        inputs=(
            Input("overdue", round(overdue_min, 1), "min"),
            *(Input(each.value, factor * minutes.of(each), "min") for each in list(Phase)[1:]),
        ),
    )
