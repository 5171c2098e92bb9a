"""A season of finished outings, written in bulk for the demo."""

import random
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from rentals.afloat.models import LaunchCheck
from rentals.audit.models import Entry
from rentals.bench import queries as bench_queries
from rentals.bench import services as bench
from rentals.bench.mapping import Worn, planned_for
from rentals.bench.models import (
    Inspection,
    Job,
    JobLine,
    Meter,
    ReturnCheck,
    ReturnLine,
    RigWear,
    WearPosting,
)
from rentals.bench.states import JobState
from rentals.bookings.models import Booking, KitPart, Outing, Party
from rentals.bookings.states import OutingState
from rentals.desk import demo
from rentals.fleet.models import RIG_PARTS, Hold, Item, Kind, Rig
from rentals.lib.access import Act, System
from rentals.people.models import Rider, User
from rentals.rigs import queries as rigs
from rentals.stations.models import Station
from rigging import checks, sizing, units, wear, wind

FAULT_SHARE, FAULT_SHARE_AT_S = 0.012, 50 * 3600
"""Share of outings that end with a fault at an age; it grows with the age, for kit wears out."""

PARTS_SHARE = 0.66
"""Share of faults that take parts."""


@dataclass(frozen=True, slots=True)
class _Trip:
    """One finished outing of the season and what it used."""

    outing: Outing
    items: Mapping[Kind, Item]


class Season:
    """A season of finished outings, written in bulk: the rules of the database hold for it all the same."""

    def __init__(
        self, station: Station, items: Sequence[Item], riders: Sequence[Rider], now: datetime
    ) -> None:
        self.station, self.riders, self.now = station, riders, now
        self.dice = random.Random(f"{demo.SEED}:season:{station.slug}")  # noqa: S311 - a story, not a secret
        self.by_kind: defaultdict[Kind, list[Item]] = defaultdict(list)
        for item in items:
            self.by_kind[Kind(item.model.kind)].append(item)
        self.instructor = User.objects.get(username="instructor")
        self.manager = User.objects.get(username="manager")

    def write(self) -> None:
        """Write every day of the season."""
        trips: list[_Trip] = []
        today = self.station.local(self.now).date()
        for ago in range(demo.HISTORY_DAYS, 0, -1):
            trips += self._day(today - timedelta(days=ago))
        self._write_kit(trips)
        self._write_checks(trips)
        self._write_wear(trips)
        self._write_jobs(trips)
        self._write_inspections()

    def _day(self, day: date) -> list[_Trip]:
        beach = demo.beach_kn(day)
        most = 3 if self.station.slug == "kettle-bay" else 5
        trips: list[_Trip] = []
        # A rider sails once a day and an item twice at most, which is what a small beach sees.
        riders = self.dice.sample(self.riders, len(self.riders))
        for opens, closes in demo.SLOTS:
            free = {kind: self.dice.sample(items, len(items)) for kind, items in self.by_kind.items()}
            for _rider in range(self.dice.randint(0, most)):
                rider = riders.pop()
                kit = self._kit(rider, beach, free)
                if kit is None:
                    continue
                start, end = (self.station_moment(day, at) for at in (opens, closes))
                trips.append(_Trip(self._outing(rider, start, end), kit))
        self._book(trips)
        return trips

    def station_moment(self, day: date, at: Any) -> datetime:
        """Return a wall-clock time of the station as a moment."""
        return datetime.combine(day, at, self.station.zone)

    def _kit(self, rider: Rider, beach: float, free: Mapping[Kind, list[Item]]) -> dict[Kind, Item] | None:
        sails = {item.model.area_m2 or 0.0 for item in free[Kind.SAIL]}
        if not sails or not free[Kind.BOARD]:
            return None
        area = demo.nearest_sail(sorted(sails), float(rider.mass_kg), sizing.Level(rider.level), beach)
        sail = next(item for item in free[Kind.SAIL] if item.model.area_m2 == area)
        core = rigs.sail_of(sail)
        rig, _why = rigs.rig_for(core, {kind: free[kind] for kind in RIG_PARTS})
        if rig is None:
            return None
        kit = {Kind.SAIL: sail, **rig, Kind.BOARD: free[Kind.BOARD][0]}
        for kind in (Kind.BUOYANCY_AID, Kind.WETSUIT):
            if free[kind]:
                kit[kind] = free[kind][0]
        for kind, item in kit.items():
            free[kind].remove(item)
        return kit

    def _outing(self, rider: Rider, start: datetime, end: datetime) -> Outing:
        launched = start + timedelta(minutes=self.dice.randint(5, 25))
        ashore = end - timedelta(minutes=self.dice.randint(0, 30))
        return Outing(
            station=self.station,
            rider=rider,
            starts_at=start,
            ends_at=end,
            state=OutingState.CLOSED,
            kit_no=1,
            launched_at=launched,
            ashore_at=ashore,
            closed_at=ashore + timedelta(minutes=8),
        )

    def _book(self, trips: Sequence[_Trip]) -> None:
        parties = Party.objects.bulk_create(
            Party(
                station=self.station,
                contact_name=trip.outing.rider.name,
                contact_phone=trip.outing.rider.phone,
            )
            for trip in trips
        )
        kinds = [Booking.Kind.RENTAL, Booking.Kind.RENTAL, Booking.Kind.LESSON]
        booked = Booking.objects.bulk_create(
            Booking(
                party=party,
                kind=self.dice.choice(kinds),
                booked_at=trip.outing.starts_at - timedelta(days=self.dice.randint(0, 20)),
            )
            for party, trip in zip(parties, trips, strict=True)
        )
        for booking, trip in zip(booked, trips, strict=True):
            trip.outing.booking = booking
        Outing.objects.bulk_create(trip.outing for trip in trips)

    def _write_kit(self, trips: Sequence[_Trip]) -> None:
        pairs = [(trip.outing, kind, item) for trip in trips for kind, item in trip.items.items()]
        turn_round = timedelta(minutes=self.station.turn_round_min)
        holds = Hold.objects.bulk_create(
            (
                Hold(
                    item=item,
                    starts_at=outing.starts_at,
                    ends_at=outing.ends_at + turn_round,
                    live=False,
                    purpose=f"outing {outing.pk}",
                )
                for outing, _kind, item in pairs
            ),
            batch_size=500,
        )
        KitPart.objects.bulk_create(
            (
                KitPart(
                    outing=outing,
                    item=item,
                    hold=hold,
                    part=kind,
                    issued_at=outing.starts_at,
                    returned_at=outing.closed_at,
                )
                for (outing, kind, item), hold in zip(pairs, holds, strict=True)
            ),
            batch_size=500,
        )

    def _write_checks(self, trips: Sequence[_Trip]) -> None:
        points = [{"key": key, "text": text, "passed": True} for key, text in checks.checklist(["sail"])]
        LaunchCheck.objects.bulk_create(
            (
                LaunchCheck(
                    outing=trip.outing,
                    kit_no=1,
                    at=trip.outing.launched_at or self.now,
                    by=self.instructor,
                    passed=True,
                    points=points,
                    gates=[],
                )
                for trip in trips
            ),
            batch_size=500,
        )
        felt = ["right", "right", "right", "under", "over", ""]
        made = ReturnCheck.objects.bulk_create(
            (
                ReturnCheck(
                    outing=trip.outing,
                    at=trip.outing.closed_at or self.now,
                    by=self.instructor,
                    felt=self.dice.choice(felt),
                )
                for trip in trips
            ),
            batch_size=500,
        )
        ReturnLine.objects.bulk_create(
            (
                ReturnLine(check_made=check, item=item, back=True, rinsed=True)
                for check, trip in zip(made, trips, strict=True)
                for item in trip.items.values()
            ),
            batch_size=500,
        )

    def _write_wear(self, trips: Sequence[_Trip]) -> None:
        postings, entries = [], []
        for trip in trips:
            at = trip.outing.closed_at or self.now
            day = self.station.local(trip.outing.starts_at).date()
            wind_ms = float(units.from_knots(demo.beach_kn(day))) / wind.BEACH_FACTOR
            for kind, item in trip.items.items():
                row = bench.posting(item.pk, trip.outing, wind_ms, at)
                item.water_s += row.water_s
                item.rig_ups += kind in RIG_PARTS
                postings.append(row)
                entries.append(
                    self._entry(at, item, f"{row.water_s // 60} min on the water", System.POST_WEAR)
                )
        lain = self._rigs(trips)
        WearPosting.objects.bulk_create(postings, batch_size=500)
        RigWear.objects.bulk_create(lain, batch_size=500)
        Meter.objects.bulk_create(_meters(postings, lain), batch_size=500)
        Entry.objects.bulk_create(entries, batch_size=500)
        worn = {item for trip in trips for item in trip.items.values()}
        Item.objects.bulk_update(worn, ["water_s", "rig_ups"], batch_size=200)

    def _rigs(self, trips: Sequence[_Trip]) -> list[RigWear]:
        """Write a rig for each trip, built half an hour before it, and return the daylight it stood in."""
        rigs = Rig.objects.bulk_create(
            (
                Rig(
                    station=self.station,
                    built_at=trip.outing.starts_at - timedelta(minutes=30),
                    derigged_at=trip.outing.closed_at,
                    **{part.value: trip.items[part] for part in RIG_PARTS},
                )
                for trip in trips
            ),
            batch_size=500,
        )
        return [
            row
            for rig in rigs
            for row in bench.rig_wear(rig, None, rig.derigged_at or self.now, rig.derigged_at or self.now)
        ]

    def _write_inspections(self) -> None:
        """Write the last inspection of each kind for every item, so that few are due now."""
        records = [
            self._inspection(worn, plan)
            for worn, _grace in bench_queries.worn_items(
                Item.objects.filter(station=self.station).order_by("pk")
            )
            for plan in planned_for(worn.item, [])
        ]
        Inspection.objects.bulk_create(records, batch_size=500)

    def _inspection(self, worn: Worn, plan: wear.Planned) -> Inspection:
        weekly = plan.occasion is wear.Occasion.WEEKLY
        share = self.dice.uniform(0.0, 0.7) if weekly else self.dice.uniform(0.1, 0.97)
        rule = plan.rule

        def then(gathered: int, every: float | None) -> int:
            return max(gathered - round(share * (every or 1e9)), 0)

        return Inspection(
            item=worn.item,
            at=self.now - timedelta(days=share * (rule.every_days or 60)),
            by=self.instructor,
            name=rule.name,
            occasion=plan.occasion.value,
            passed=True,
            points=[{"text": point, "ok": True} for point in plan.points],
            weighted_s=then(worn.weighted_s, rule.every_hours and rule.every_hours * 3600),
            rig_ups=then(worn.item.rig_ups, rule.every_rig_ups),
            sun_s=then(worn.sun_s, rule.every_sun_hours and rule.every_sun_hours * 3600),
        )

    def _write_jobs(self, trips: Sequence[_Trip]) -> None:
        """Write faults found on return, all mended since but for a few on the bench now."""
        faults = demo.told("people")["faults"]
        jobs, entries, worn_s = [], [], defaultdict[Item, int](int)
        for trip in trips:
            for kind, item in trip.items.items():
                worn_s[item] += bench.water_s(trip.outing)
                if self.dice.random() > FAULT_SHARE * worn_s[item] / FAULT_SHARE_AT_S:
                    continue
                at = trip.outing.closed_at or self.now
                fault = self.dice.choice(faults[kind.value])
                jobs.append(
                    Job(
                        item=item,
                        fault=fault,
                        state=JobState.RELEASED,
                        opened_at=at,
                        opened_by=self.instructor,
                        outing=trip.outing,
                        work="Mended and tried",
                        minutes=self.dice.randint(5, 90),
                        mended_at=at + timedelta(hours=3),
                        mended_by=self.instructor,
                        finished_at=at + timedelta(hours=4),
                        finished_by=self.manager,
                    )
                )
                entries.append(self._entry(at, item, f"Fault: {fault}", Act.TAKE_BACK))
        Job.objects.bulk_create(jobs, batch_size=500)
        JobLine.objects.bulk_create(self._lines(jobs), batch_size=500)
        Entry.objects.bulk_create(entries, batch_size=500)

    def _lines(self, jobs: Sequence[Job]) -> list[JobLine]:
        """Return what the bench noted: work on each job, and parts for two of three."""
        most = demo.told("costs")["kinds"]
        lines = []
        for job in jobs:
            at = job.mended_at or job.opened_at
            said = {"job": job, "at": at, "by": self.instructor}
            lines.append(JobLine(kind="work", text="Mended and tried", minutes=job.minutes, **said))
            if self.dice.random() < PARTS_SHARE:
                usual = float(most[job.item.model.kind]["fault"])
                cost = Decimal(round(usual * self.dice.uniform(0.1, 1.2)))
                lines.append(
                    JobLine(kind="parts", text="Parts", cost=cost, currency=self.station.currency, **said)
                )
        return lines

    def _entry(self, at: datetime, item: Item, text: str, act: Act | System) -> Entry:
        return Entry(
            at=at,
            actor_name="Marram",
            station_id=self.station.pk,
            act=act.value,
            subject_kind="item",
            subject_id=item.pk,
            text=text,
        )


def _meters(postings: Sequence[WearPosting], lain: Sequence[RigWear]) -> list[Meter]:
    """What each item has gathered by these rows."""
    meters: dict[int, Meter] = {}
    for row in postings:
        meter = meters.setdefault(row.item_id, Meter(item_id=row.item_id))
        meter.weighted_s += row.weighted_s or 0
        meter.salt_s += row.water_s if row.salt else 0
    for stood in lain:
        meters.setdefault(stood.item_id, Meter(item_id=stood.item_id)).sun_s += stood.sun_s
    return list(meters.values())
