"""The demo scenario: an invented island with two beaches, told by a seeded generator from `fixtures/demo`."""

import json
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings

from rentals.fleet.models import Kind
from rentals.stations.models import Station
from rigging import sizing, units, wind

SEED = 20260711
RIDERS = 80
HISTORY_DAYS = 120
SLOTS = ((time(9, 0), time(11, 0)), (time(11, 30), time(13, 30)), (time(14, 0), time(16, 0)))
WATER_C = 16.5
PASSWORD = "marram-demo"  # noqa: S105 - printed by the demo, of no use elsewhere

TAG_LETTERS = {
    Kind.SAIL: "S",
    Kind.MAST: "M",
    Kind.BOOM: "B",
    Kind.EXTENSION: "X",
    Kind.BASE: "T",
    Kind.BOARD: "D",
    Kind.FIN: "F",
    Kind.HARNESS: "H",
    Kind.BUOYANCY_AID: "A",
    Kind.WETSUIT: "W",
    Kind.HELMET: "C",
}
"""First letter of a tag, by kind."""


@cache
def told(name: str) -> Any:
    """Return what a file of the scenario tells."""
    path: Path = settings.BASE_DIR / "fixtures" / "demo" / f"{name}.json"
    return json.loads(path.read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """An invented rider."""

    name: str
    born_on: date
    mass_kg: float
    stature_cm: int
    level: sizing.Level
    guardian_name: str


def figures(today: date) -> Iterator[Figure]:
    """Yield the scenario's riders, a fifth of them under age, all levels among them."""
    dice = random.Random(SEED)  # noqa: S311 - a story, not a secret
    people, seen = told("people"), set[str]()
    weights = (10, 22, 22, 22, 16, 8)
    while len(seen) < RIDERS:
        name = f"{dice.choice(people['first'])} {dice.choice(people['last'])}"
        if name in seen:
            continue
        seen.add(name)
        minor = dice.random() < 0.2
        age = dice.uniform(8, 17.5) if minor else dice.uniform(18, 66)
        stature = 96 + 5.2 * age if age < 15 else dice.gauss(173, 9)
        stature = min(max(stature + dice.gauss(0, 4), 115), 198)
        mass = min(max(dice.gauss(22.5 if not minor else 17.8, 2.4) * (stature / 100) ** 2, 24), 118)
        level = dice.choices(list(sizing.Level), weights)[0]
        if minor and level.rank > sizing.Level.INTERMEDIATE.rank:
            level = sizing.Level.IMPROVER
        yield Figure(
            name=name,
            born_on=today - timedelta(days=round(age * 365.25)),
            mass_kg=round(mass, 1),
            stature_cm=round(stature),
            level=level,
            guardian_name=f"{dice.choice(people['first'])} {name.split()[-1]}" if minor else "",
        )


def beach_kn(day: date) -> float:
    """Return a day's usual wind on the beach, in knots."""
    dice = random.Random(f"{SEED}:{day}")  # noqa: S311
    return min(max(dice.gammavariate(9.0, 1.7), 6.0), 26.0)


def forecast_json(station: Station, first: date, *, days: int, updated_at: datetime) -> str:
    """Return a forecast of some days as met service GeoJSON: calm nights, a sea breeze by noon."""
    series = list(_series(station, first, days))
    return json.dumps(
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [station.longitude_deg, station.latitude_deg, 2]},
            "properties": {
                "meta": {
                    "updated_at": f"{updated_at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}",
                    "units": {
                        "air_pressure_at_sea_level": "hPa",
                        "air_temperature": "celsius",
                        "relative_humidity": "%",
                        "wind_from_direction": "degrees",
                        "wind_speed": "m/s",
                        "wind_speed_of_gust": "m/s",
                    },
                },
                "timeseries": series,
            },
        }
    )


def _series(station: Station, first: date, days: int) -> Iterator[dict[str, Any]]:
    start = datetime.combine(first, time(), station.zone).astimezone(UTC)
    dice = random.Random(f"{SEED}:{station.slug}:{first}")  # noqa: S311
    # Side-shore at both beaches: along the bearing that faces the water, turned by a right angle.
    from_deg = (station.seaward_deg + 80) % 360
    for number in range(24 * days):
        moment = start + timedelta(hours=number)
        local = station.local(moment)
        share = 0.45 + 0.55 * max(0.0, 1 - abs(local.hour - 14) / 9)
        mean = float(units.from_knots(beach_kn(local.date()))) / wind.BEACH_FACTOR * share
        mean *= dice.uniform(0.92, 1.08)
        details = {
            "air_pressure_at_sea_level": 1016.0,
            "air_temperature": round(13 + 4 * share, 1),
            "relative_humidity": 72.0,
            "wind_from_direction": round(from_deg + dice.uniform(-12, 12), 1) % 360,
            "wind_speed": round(mean, 1),
            "wind_speed_of_gust": round(mean * dice.uniform(1.18, 1.34) + 0.1, 1),
        }
        yield {
            "time": f"{moment:%Y-%m-%dT%H:%M:%SZ}",
            "data": {
                "instant": {"details": details},
                "next_1_hours": {"summary": {"symbol_code": "fair_day"}, "details": {}},
            },
        }


def nearest_sail(areas: Sequence[float], mass_kg: float, level: sizing.Level, beach: float) -> float:
    """Return the area in a shed nearest to the trade's rule for a rider; learners get small ones."""
    beach_ms = float(units.from_knots(beach))
    wanted = sizing.rule_area_m2(mass_kg, beach_ms) if level.planes else min(0.055 * mass_kg, 5.0)
    return min(areas, key=lambda area: (abs(area - wanted), area))


def shed(slug: str) -> Mapping[str, int]:
    """Return how many of each model a station has."""
    counts: Mapping[str, int] = told("sheds")[slug]
    return counts
