"""Loading the demo: stations, shed and riders, a season of history, and a day under way."""

import random
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.contrib.auth.hashers import make_password

from rentals.afloat import services as afloat
from rentals.afloat.models import LaunchCheck
from rentals.audit.models import Entry
from rentals.bench import services as bench
from rentals.bench.models import Job, ReturnCheck, ReturnLine, WearPosting
from rentals.bench.states import JobState
from rentals.bookings import services as bookings
from rentals.bookings.models import Booking, KitPart, Outing, Party
from rentals.bookings.states import OutingState
from rentals.desk import demo
from rentals.fleet.models import RIG_PARTS, Hold, Item, ItemModel, Kind
from rentals.lib.access import Act, Actor, System
from rentals.lib.problems import Refused
from rentals.lib.writes import write
from rentals.people.mapping import actor_of
from rentals.people.models import Posting, Rider, User
from rentals.rigs import queries as rigs
from rentals.rigs import services as rigs_services
from rentals.stations.models import Station
from rentals.weather import services as weather
from rigging import checks, sizing, units

BOUGHT_AGO_DAYS = (150, 1500)
FAULT_SHARE = 0.012


def is_loaded() -> bool:
    """Say whether there is any station yet."""
    return Station.objects.exists()


@write
def load_scenario(*, actor: Actor, now: datetime) -> None:
    """Load stations, staff, shed, riders and a season of history. Only into an empty database.

    Raises:
        Refused: there is a station already.
    """
    actor.require_system(System.SEED)
    if is_loaded():
        raise Refused("There is a station already. The demo goes only into an empty database.")
    stations = [Station.objects.create(**facts) for facts in demo.told("stations")]
    _hire(stations, now.date())
    models = {facts["name"]: ItemModel.objects.create(**facts) for facts in demo.told("models")}
    riders = _meet(stations, now)
    for station in stations:
        items = _fill_shed(station, models, now.date())
        _Season(station, items, [rider for rider in riders if rider.station_id == station.pk], now).write()


def fill_day(*, now: datetime) -> None:
    """Give each station a forecast and a day under way, through the same services that staff use.

    A day that has outings already is left as it is, so the demo can be stopped and started again.
    """
    for station in Station.objects.filter(slug__in=[facts["slug"] for facts in demo.told("stations")]):
        manager = actor_of(User.objects.get(username="manager"), now.date())
        today = station.local(now).date()
        if Outing.objects.filter(station=station, starts_at__date__gte=today).exists():
            continue
        content = demo.forecast_json(station, today, days=4, updated_at=now).encode()
        weather.take_file(actor=manager, station_id=station.pk, content=content, now=now)
        _Day(station, manager, now).play()


def _hire(stations: Sequence[Station], today: date) -> None:
    by_slug = {station.slug: station for station in stations}
    password = make_password(demo.PASSWORD)
    for facts in demo.told("people")["staff"]:
        user = User.objects.create(
            username=facts["username"],
            first_name=facts["first_name"],
            last_name=facts["last_name"],
            password=password,
        )
        for slug in facts["stations"]:
            since = today - timedelta(days=demo.HISTORY_DAYS + 30)
            Posting.objects.create(user=user, station=by_slug[slug], role=facts["role"], since=since)


def _meet(stations: Sequence[Station], now: datetime) -> list[Rider]:
    riders = [
        Rider(
            station=stations[0] if number % 4 else stations[1],
            name=figure.name,
            born_on=figure.born_on,
            mass_kg=Decimal(str(figure.mass_kg)),
            stature_cm=figure.stature_cm,
            level=figure.level,
            swims=True,
            phone=f"0700 {number:03d} {number * 7 % 1000:03d}",
            waiver_signed_at=None if number % 11 == 5 else now - timedelta(days=demo.HISTORY_DAYS),
            guardian_name=figure.guardian_name,
            guardian_phone="0700 999 000" if figure.guardian_name else "",
            guardian_consent_at=now - timedelta(days=demo.HISTORY_DAYS) if figure.guardian_name else None,
        )
        for number, figure in enumerate(demo.figures(now.date()))
    ]
    return Rider.objects.bulk_create(riders)


_TAGS = {
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
_COLOURS = ("white and red", "blue", "yellow", "orange and grey", "green", "white and blue")


def _fill_shed(station: Station, models: Mapping[str, ItemModel], today: date) -> list[Item]:
    dice = random.Random(f"{demo.SEED}:{station.slug}")  # noqa: S311 - a story, not a secret
    count: defaultdict[Kind, int] = defaultdict(int)
    items = []
    for name, units_held in demo.shed(station.slug).items():
        kind = Kind(models[name].kind)
        for _unit in range(units_held):
            count[kind] += 1
            coloured = kind in (Kind.SAIL, Kind.BOARD)
            items.append(
                Item(
                    station=station,
                    model=models[name],
                    tag=f"{_TAGS[kind]}{count[kind]:02d}",
                    colour=dice.choice(_COLOURS) if coloured else "",
                    bought_on=today - timedelta(days=dice.randint(*BOUGHT_AGO_DAYS)),
                )
            )
    return Item.objects.bulk_create(items)


@dataclass(frozen=True, slots=True)
class _Trip:
    """One finished outing of the season and what it used."""

    outing: Outing
    items: Mapping[Kind, Item]


class _Season:
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
        postings, entries, worn = [], [], set[Item]()
        for trip in trips:
            seconds = bench.water_s(trip.outing)
            at = trip.outing.closed_at or self.now
            for kind, item in trip.items.items():
                item.water_s += seconds
                item.rig_ups += kind in RIG_PARTS
                worn.add(item)
                postings.append(WearPosting(item=item, outing=trip.outing, water_s=seconds, posted_at=at))
                entries.append(self._entry(at, item, f"{seconds // 60} min on the water", System.POST_WEAR))
        WearPosting.objects.bulk_create(postings, batch_size=500)
        Entry.objects.bulk_create(entries, batch_size=500)
        Item.objects.bulk_update(worn, ["water_s", "rig_ups"], batch_size=200)

    def _write_jobs(self, trips: Sequence[_Trip]) -> None:
        """Write faults found on return, all mended since but for a few on the bench now."""
        faults = demo.told("people")["faults"]
        jobs, entries = [], []
        for trip in trips:
            for kind, item in trip.items.items():
                if self.dice.random() > FAULT_SHARE:
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
                    )
                )
                entries.append(self._entry(at, item, f"Fault: {fault}", Act.TAKE_BACK))
        Job.objects.bulk_create(jobs, batch_size=500)
        Entry.objects.bulk_create(entries, batch_size=500)

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


class _Day:
    """A day under way, played through the services: some back, some afloat, one late, the rest to come."""

    def __init__(self, station: Station, manager: Actor, now: datetime) -> None:
        self.station, self.manager, self.now = station, manager, now
        self.dice = random.Random(f"{demo.SEED}:{station.slug}:{now.date()}")  # noqa: S311 - a story
        signed = Rider.objects.filter(station=station, waiver_signed_at__isnull=False).order_by("id")
        self.able = [
            rider
            for rider in signed
            if sizing.Level(rider.level).planes and not rider.is_minor_on(now.date())
        ]
        self.others = [
            rider for rider in Rider.objects.filter(station=station).order_by("id") if rider not in self.able
        ]
        self.dice.shuffle(self.able)
        self.dice.shuffle(self.others)

    def play(self) -> None:
        """Play the day up to now."""
        midnight = self.station.local(self.now).replace(hour=0, minute=0, second=0, microsecond=0)
        opening = midnight + timedelta(hours=self.station.opens.hour, minutes=self.station.opens.minute)
        early = opening + timedelta(minutes=5)
        hour = self.now.replace(minute=0, second=0, microsecond=0)
        back = (early, self.now - timedelta(minutes=55))
        late = (early, self.now - timedelta(minutes=14))
        running = (hour - timedelta(minutes=30), hour + timedelta(minutes=90))
        steps: list[tuple[tuple[datetime, datetime], Sequence[Rider], Callable[[Outing], object]]] = [
            (back, self.able[0:2], self._finish),
            (late, self.able[2:3], self._let_go),
            (running, self.able[3:6], self._let_go),
            ((hour + timedelta(minutes=60), hour + timedelta(minutes=180)), self.able[6:9], self._kit),
            ((hour + timedelta(minutes=60), hour + timedelta(minutes=180)), self.others[0:4], self._leave),
            ((hour + timedelta(minutes=180), hour + timedelta(minutes=270)), self.others[4:8], self._leave),
        ]
        self._log_beach(early)
        for (start, end), riders, play in steps:
            if not riders or not start < end:
                continue
            for outing in self._book(start, end, riders):
                play(outing)
        self._log_beach(self.now)
        self._bench()

    def _log_beach(self, at: datetime) -> None:
        beach = float(units.from_knots(demo.beach_kn(at.date()))) * 0.8
        entry = afloat.BeachEntry(
            safety_boat_manned=True,
            instructors=2,
            lightning=False,
            water_c=demo.WATER_C,
            mean_ms=beach,
            gust_ms=beach * 1.2,
            from_deg=(self.station.seaward_deg + 80) % 360,
        )
        afloat.log_beach(actor=self.manager, station_id=self.station.pk, entry=entry, now=at)

    def _book(self, start: datetime, end: datetime, riders: Sequence[Rider]) -> list[Outing]:
        try:
            booking = bookings.book_party(
                actor=self.manager,
                station_id=self.station.pk,
                contact=bookings.Contact(name=riders[0].name, phone=riders[0].phone),
                kind=Booking.Kind.RENTAL if sizing.Level(riders[0].level).planes else Booking.Kind.LESSON,
                starts_at=start,
                ends_at=end,
                riders=[rider.pk for rider in riders],
                now=start - timedelta(hours=16),
            )
        except bookings.UnableToBook:
            # Late in the day the last parties would not be home by closing.
            return []
        return list(Outing.objects.filter(booking=booking).select_related("station", "rider").order_by("id"))

    def _leave(self, outing: Outing) -> None:
        """Leave an outing as booked."""

    def _kit(self, outing: Outing) -> bool:
        found = rigs.offers(outing)
        boards = [offer for offer in found.boards if offer.suits.ok]
        if not (found.fitting and boards):
            return False
        worn = {
            kind: found.worn[kind][0].pk for kind in (Kind.BUOYANCY_AID, Kind.WETSUIT) if found.worn[kind]
        }
        choice = rigs_services.Choice(sail_id=found.fitting[0].item.pk, board_id=boards[0].item.pk, worn=worn)
        at = min(outing.starts_at, self.now) - timedelta(minutes=20)
        rigs_services.kit_outing(actor=self.manager, outing_id=outing.pk, choice=choice, now=at)
        return True

    def _let_go(self, outing: Outing) -> bool:
        if not self._kit(outing):
            return False
        at = outing.starts_at + timedelta(minutes=5)
        bookings.issue_kit(actor=self.manager, outing_id=outing.pk, kit_no=1, now=at)
        kinds = KitPart.objects.filter(outing=outing, dropped_at=None).values_list("part", flat=True)
        ticked = frozenset(key for key, _ in checks.checklist([kind.replace("_", " ") for kind in kinds]))
        check = afloat.check_launch(
            actor=self.manager,
            outing_id=outing.pk,
            kit_no=1,
            ticked=ticked,
            overrides={"wind_now": "Looked at the water from the dune", "suit": "Rider is used to it"},
            launch=True,
            now=at,
        )
        return check.passed

    def _finish(self, outing: Outing) -> None:
        if not self._let_go(outing):
            return
        parts = KitPart.objects.filter(outing=outing, dropped_at=None)
        lines = [bench.Came(item_id=part.item_id, back=True, rinsed=True) for part in parts]
        bench.take_back(
            actor=self.manager, outing_id=outing.pk, lines=lines, felt="right", now=outing.ends_at
        )

    def _bench(self) -> None:
        """Leave two faults on the bench, of items that nobody is promised."""
        held = Hold.objects.filter(live=True).values("item")
        free = (
            Item.objects.filter(station=self.station, state="ready")
            .exclude(pk__in=held)
            .select_related("model")
        )
        faults = demo.told("people")["faults"]
        for kind in (Kind.BOOM, Kind.SAIL):
            item = free.filter(model__kind=kind).order_by("-water_s").first()
            if item is not None:
                bench.report_fault(
                    actor=self.manager, item_id=item.pk, fault=faults[kind.value][1], now=self.now
                )
