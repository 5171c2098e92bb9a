"""Logging the beach, and taking back lightning that was entered by mistake."""

from dataclasses import asdict, dataclass
from datetime import datetime
from uuid import UUID

from rentals.afloat.models import MOST_INSTRUCTORS, WATER_C, BeachLog, LogCorrection
from rentals.audit import services as journal
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.writes import write
from rentals.weather import services as weather_services
from rentals.weather.formats.reading import Reading
from rentals.weather.models import Kind as WeatherKind

HAND_HEIGHT_M = 2.0
HAND_AVERAGING_S = 120
LONGEST_REASON = 200


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
def log_beach(
    *, actor: Actor, station_id: int, entry: BeachEntry, once: UUID | None = None, now: datetime
) -> BeachLog:
    """Log how the beach stands, and the wind measured on it; the same key again logs nothing more.

    Raises:
        UnableToLogBeach: a wind that could not blow, a gust without its mean, water or crew out of range.
    """
    actor.require(Act.ENTER_WEATHER, station_id=station_id)
    claim = journal.claim(
        actor=actor, act=Act.ENTER_WEATHER, key=once, asked=[station_id, asdict(entry)], now=now
    )
    if claim.result_id is not None:
        return BeachLog.objects.get(pk=claim.result_id)
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
    journal.settle(claim, log.pk)
    return log


@write
def take_back_lightning(*, actor: Actor, log_id: int, reason: str, now: datetime) -> LogCorrection:
    """Take back lightning that was entered by mistake; the line stays, with who took it back and why.

    Taking it back twice changes nothing.

    Raises:
        NotVisible: there is no such line for this actor.
        UnableToLogBeach: no reason given, or a line without lightning.
    """
    here = BeachLog.objects.filter(pk=log_id, station_id__in=actor.station_ids)
    log = here.select_for_update().first()
    if log is None:
        raise NotVisible("There is no such line of the beach log here.")
    actor.require(Act.ENTER_WEATHER, station_id=log.station_id)
    if not log.lightning:
        raise UnableToLogBeach("That line of the log has no lightning.")
    if not reason.strip():
        raise UnableToLogBeach.at("reason", "Enter how you know that it was a mistake.")
    before = LogCorrection.objects.filter(log=log).first()
    if before is not None:
        return before
    correction = LogCorrection.objects.create(
        log=log, at=now, by_id=actor.person_id, reason=reason.strip()[:LONGEST_REASON]
    )
    text = f"Lightning logged by mistake, taken back: {correction.reason}"
    line = journal.Line("station", log.station_id, text, {"log": log.pk})
    journal.record(actor=actor, act=Act.ENTER_WEATHER, station_id=log.station_id, lines=[line], now=now)
    return correction


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
