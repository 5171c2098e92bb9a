"""Named people with fixed relations, a shed and a day, each made when a test first names it.

A conftest makes the fixture in two lines:

    @pytest.fixture
    def cast(db: None, now: datetime) -> Cast:
        return Cast(now)
"""

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

from rentals.afloat import services as afloat
from rentals.afloat.models import LaunchCheck
from rentals.bench import services as bench
from rentals.bench.models import Job
from rentals.bookings import services as bookings
from rentals.bookings.models import Booking, KitPart, Outing
from rentals.desk import demo
from rentals.fleet.models import Item, ItemModel, Kind
from rentals.lib.access import Actor, Role
from rentals.people.mapping import actor_of
from rentals.people.models import Posting, Rider, User
from rentals.rigs import services as rigs
from rentals.rigs.models import Card
from rentals.stations.models import Station
from rentals.weather import services as weather
from rentals.weather.models import Run
from rigging import checks

PASSWORD = "spartina-anglica"

SHED = {
    Kind.SAIL: ("Samphire 5.0", "Samphire 5.7", "Thrift 4.5"),
    Kind.MAST: ("Lyme 400 RDM", "Lyme 430 RDM", "Lyme 430 SDM"),
    Kind.BOOM: ("Bindweed 140–190", "Bindweed 140–190"),
    Kind.EXTENSION: ("Rush RDM 4–36", "Rush RDM 4–36", "Rush SDM 4–46"),
    Kind.BASE: ("Sandwort tendon", "Sandwort tendon"),
    Kind.BOARD: ("Campion 115", "Orache 205"),
    Kind.FIN: ("Saltwort 34 tuttle", "Saltwort 26 power box"),
    Kind.BUOYANCY_AID: ("Bladderwrack M", "Bladderwrack L"),
    Kind.WETSUIT: ("Kelp 5 mm M", "Kelp 5 mm L"),
    Kind.HARNESS: ("Couch M",),
    Kind.HELMET: ("Limpet M",),
}
"""Models of a shed from which two riders can be given kit; its SDM parts fit none of the RDM ones."""


class Cast:
    """Everybody and everything that a test may name."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    @cached_property
    def tarrow(self) -> Station:
        """Tarrow Lagoon, where nearly everything happens."""
        return _station("tarrow-lagoon")

    @cached_property
    def kettle(self) -> Station:
        """Kettle Bay, the other station."""
        return _station("kettle-bay")

    @cached_property
    def desk(self) -> User:
        """At the desk of Tarrow Lagoon."""
        return self._hired("ida", Role.DESK, [self.tarrow])

    @cached_property
    def instructor(self) -> User:
        """Instructor at both stations."""
        return self._hired("jory", Role.INSTRUCTOR, [self.tarrow, self.kettle])

    @cached_property
    def manager(self) -> User:
        """Manager of Tarrow Lagoon."""
        return self._hired("maud", Role.MANAGER, [self.tarrow])

    @cached_property
    def neighbour(self) -> User:
        """Manager of Kettle Bay, a stranger at Tarrow Lagoon."""
        return self._hired("rhys", Role.MANAGER, [self.kettle])

    @cached_property
    def stranger(self) -> User:
        """Signs in, but has no role anywhere."""
        return self._hired("nobody", Role.DESK, [])

    def actor(self, user: User) -> Actor:
        """Return who a user is today."""
        return actor_of(user, self.now.date())

    @cached_property
    def boss(self) -> Actor:
        """The manager of Tarrow Lagoon, as services ask for them."""
        return self.actor(self.manager)

    @cached_property
    def wren(self) -> Rider:
        """Advanced, 72 kg: everything signed."""
        return self.rider("Wren Alder", level="advanced")

    @cached_property
    def moss(self) -> Rider:
        """Advanced, 85 kg: the waiver is not signed."""
        return self.rider("Moss Hazel", level="advanced", mass_kg=Decimal(85), waiver_signed_at=None)

    @cached_property
    def fern(self) -> Rider:
        """Fourteen years old, improver, 50 kg: Wren consents."""
        return self.rider(
            "Fern Alder",
            born_on=date(2013, 3, 9),
            mass_kg=Decimal(50),
            stature_cm=162,
            level="improver",
            guardian_name="Wren Alder",
            guardian_consent_at=self.now,
        )

    def rider(self, name: str, **facts: Any) -> Rider:
        """Return a new rider of Tarrow Lagoon."""
        usual: dict[str, Any] = {
            "station": self.tarrow,
            "born_on": date(1990, 5, 1),
            "mass_kg": Decimal(72),
            "stature_cm": 176,
            "level": "intermediate",
            "swims": True,
            "phone": "0700 100 200",
            "waiver_signed_at": self.now,
        }
        return Rider.objects.create(name=name, **{**usual, **facts})

    @cached_property
    def shed(self) -> dict[str, Item]:
        """The shed of Tarrow Lagoon by tag: S1, S2 for sails, M1 for a mast and so on."""
        models = {facts["name"]: facts for facts in demo.told("models")}
        tags: dict[str, Item] = {}
        for kind, names in SHED.items():
            for number, name in enumerate(names, start=1):
                model, _ = ItemModel.objects.get_or_create(**models[name])
                tag = f"{demo.TAG_LETTERS[kind]}{number}"
                tags[tag] = Item.objects.create(station=self.tarrow, model=model, tag=tag)
        return tags

    def blow(self, mean_ms: float = 11.0, gust_ms: float | None = 13.0, from_deg: float = 330.0) -> Run:
        """Enter a wind for the whole opening day, side-shore at Tarrow Lagoon; m/s at 10 m."""
        hour = weather.HandHour(
            starts_at=self.at(8), ends_at=self.at(20), mean_ms=mean_ms, gust_ms=gust_ms, from_deg=from_deg
        )
        return weather.enter_by_hand(actor=self.boss, station_id=self.tarrow.pk, hour=hour, now=self.now)

    def watch_the_beach(self, **found: Any) -> None:
        """Log a beach on which a rider may launch; m/s at head height."""
        usual: dict[str, Any] = {
            "safety_boat_manned": True,
            "instructors": 2,
            "lightning": False,
            "water_c": 18.0,
            "mean_ms": 7.5,
            "gust_ms": 9.0,
            "from_deg": 330.0,
        }
        entry = afloat.BeachEntry(**{**usual, **found})
        afloat.log_beach(actor=self.boss, station_id=self.tarrow.pk, entry=entry, now=self.now)

    def at(self, hour: int, minute: int = 0) -> datetime:
        """Return a moment of today on the clock of Tarrow Lagoon."""
        return datetime.combine(self.now.date(), time(hour, minute), self.tarrow.zone)

    def booked(self, *riders: Rider, hour: int = 11, hours: int = 2) -> list[Outing]:
        """Return the outings that a party of riders is promised, Wren alone unless others are named."""
        booking = bookings.book_party(
            actor=self.boss,
            station_id=self.tarrow.pk,
            contact=bookings.Contact(name="Wren Alder", phone="0700 100 200"),
            kind=Booking.Kind.RENTAL,
            starts_at=self.at(hour),
            ends_at=self.at(hour + hours),
            riders=[rider.pk for rider in riders or [self.wren]],
            now=self.now,
        )
        return list(Outing.objects.filter(booking=booking).order_by("id"))

    def choice(self, **other: Any) -> rigs.Choice:
        """Return a choice of the 5.7, a board, an aid and a suit."""
        worn = {Kind.BUOYANCY_AID: self.shed["A1"].pk, Kind.WETSUIT: self.shed["W1"].pk}
        usual = {"sail_id": self.shed["S2"].pk, "board_id": self.shed["D1"].pk, "worn": worn}
        return rigs.Choice(**{**usual, **other})

    def kitted(self, *riders: Rider, hour: int = 11) -> Outing:
        """Return an outing with its kit chosen, under a wind for it."""
        choice, (outing, *_) = self.choice(), self.booked(*riders, hour=hour)
        self.blow()
        rigs.kit_outing(actor=self.boss, outing_id=outing.pk, choice=choice, now=self.now)
        outing.refresh_from_db()
        return outing

    def card(self, outing: Outing) -> Card:
        """Return an outing's rig card."""
        return Card.objects.get(outing=outing, kit_no=outing.kit_no)

    def issued(self, *riders: Rider, hour: int = 11) -> Outing:
        """Return an outing whose kit is with the rider, on a beach where they may launch."""
        outing = self.kitted(*riders, hour=hour)
        self.watch_the_beach()
        bookings.issue_kit(actor=self.boss, outing_id=outing.pk, kit_no=outing.kit_no, now=self.now)
        return outing

    def checked(self, outing: Outing, *, launch: bool) -> LaunchCheck:
        """Go through the launch check of an outing, everything ticked."""
        return afloat.check_launch(
            actor=self.boss,
            outing_id=outing.pk,
            kit_no=outing.kit_no,
            ticked=frozenset(points(part.part for part in self.kit_of(outing))),
            overrides={},
            launch=launch,
            now=self.now,
        )

    def cleared(self, *riders: Rider, hour: int = 11) -> Outing:
        """Return an outing that passed its launch check."""
        return self._moved(self.issued(*riders, hour=hour), launch=False)

    def out(self, *riders: Rider, hour: int = 11) -> Outing:
        """Return an outing on the water."""
        return self._moved(self.issued(*riders, hour=hour), launch=True)

    def returned(self, *riders: Rider, faults: dict[str, str] | None = None) -> Outing:
        """Return a closed outing; faults by tag."""
        outing, said = self.out(*riders), faults or {}
        lines = [
            bench.Came(item_id=part.item_id, back=True, rinsed=True, fault=said.get(part.item.tag, ""))
            for part in self.kit_of(outing)
        ]
        later = self.now + timedelta(hours=2)
        bench.take_back(actor=self.boss, outing_id=outing.pk, lines=lines, felt="right", now=later)
        outing.refresh_from_db()
        return outing

    def faulty(self, tag: str = "S1", fault: str = "Tear beside the window") -> Job:
        """Return the bench job of a fault just reported."""
        return bench.report_fault(actor=self.boss, item_id=self.shed[tag].pk, fault=fault, now=self.now)

    def mended(self, tag: str = "S1") -> Job:
        """Return a bench job that waits for its release."""
        job = self.faulty(tag)
        return bench.mend(actor=self.boss, job_id=job.pk, work="Patched", minutes=20, now=self.now)

    def kit_of(self, outing: Outing) -> list[KitPart]:
        """Return an outing's kit in force."""
        parts = KitPart.objects.filter(outing=outing, dropped_at=None).select_related("item")
        return list(parts.order_by("id"))

    def _moved(self, outing: Outing, *, launch: bool) -> Outing:
        check = self.checked(outing, launch=launch)
        shut = [gate["text"] for gate in check.gates if not gate["passed"]]
        assert check.passed, shut
        outing.refresh_from_db()
        return outing

    def _hired(self, username: str, role: Role, stations: Iterable[Station]) -> User:
        first, last = username.capitalize(), role.value.capitalize()
        user = User.objects.create(username=username, first_name=first, last_name=last)
        since = self.now.date() - timedelta(days=100)
        for station in stations:
            Posting.objects.create(user=user, station=station, role=role, since=since)
        return user


def points(kinds: Iterable[str]) -> list[str]:
    """Return the keys of a launch check for kinds of item."""
    return [key for key, _ in checks.checklist([kind.replace("_", " ") for kind in kinds])]


def _station(slug: str) -> Station:
    (facts,) = (facts for facts in demo.told("stations") if facts["slug"] == slug)
    station = Station.objects.create(**facts)
    station.refresh_from_db()
    return station
