"""A day under way, played through the services for the demo."""

import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from rentals.afloat import services as afloat
from rentals.bench import queries as bench_queries
from rentals.bench import services as bench
from rentals.bookings import services as bookings
from rentals.bookings.models import Booking, KitPart, Outing
from rentals.desk import demo
from rentals.fleet.models import Hold, Item, Kind
from rentals.incidents import services as incidents
from rentals.lib.access import Actor
from rentals.people.models import Rider
from rentals.rigs import queries as rigs
from rentals.rigs import services as rigs_services
from rentals.stations.models import Station
from rigging import checks, sizing, units
from rigging.checks.lists import CLOSING


class Day:
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
        back = (early, self.now - timedelta(minutes=95))
        late = (self.now - timedelta(minutes=75), self.now - timedelta(minutes=14))
        running = (hour - timedelta(minutes=30), hour + timedelta(minutes=90))
        steps: list[tuple[tuple[datetime, datetime], Sequence[Rider], Callable[[Outing], object]]] = [
            (back, self.able[0:2], self._finish),
            (late, self.able[2:3], self._let_go),
            (running, self.able[3:6], self._let_go),
            ((hour + timedelta(minutes=60), hour + timedelta(minutes=180)), self.able[6:9], self._kit),
            ((hour + timedelta(minutes=60), hour + timedelta(minutes=180)), self.others[0:4], self._leave),
            ((hour + timedelta(minutes=180), hour + timedelta(minutes=270)), self.others[4:8], self._leave),
        ]
        self._go_wrong()
        self._log_beach(early)
        self._look_over(early)
        for (start, end), riders, play in steps:
            if not riders or not start < end:
                continue
            for outing in self._book(start, end, riders):
                play(outing)
        self._log_beach(self.now)
        self._bench()

    def _look_over(self, at: datetime) -> None:
        """Look over the racks whose week is up, so that a demo started again days later has its kit."""
        today = self.station.local(self.now).date()
        for rows in bench_queries.inspections_at(self.station, today=today).weekly.values():
            bench.inspect_rack(
                actor=self.manager,
                station_id=self.station.pk,
                name=rows[0].due.name,
                item_ids=[row.item.pk for row in rows if row.item.state == "ready"],
                now=at,
            )

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
        at = min(outing.starts_at, self.now) - timedelta(minutes=20)
        found = rigs.offers(outing, now=at)
        boards = [offer for offer in found.boards if offer.suits.ok]
        if not (found.fitting and boards):
            return False
        worn = {
            kind: found.worn[kind][0].pk for kind in (Kind.BUOYANCY_AID, Kind.WETSUIT) if found.worn[kind]
        }
        choice = rigs_services.Choice(sail_id=found.fitting[0].item.pk, board_id=boards[0].item.pk, worn=worn)
        rigs_services.kit_outing(actor=self.manager, outing_id=outing.pk, choice=choice, now=at)
        return True

    def _let_go(self, outing: Outing) -> bool:
        if not self._kit(outing):
            return False
        at = outing.starts_at + timedelta(minutes=5)
        bookings.issue_kit(actor=self.manager, outing_id=outing.pk, kit_no=1, now=at)
        kinds = KitPart.objects.filter(outing=outing).in_force().values_list("part", flat=True)
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
        parts = KitPart.objects.filter(outing=outing).in_force()
        lines = [bench.Came(item_id=part.item_id, back=True, rinsed=True) for part in parts]
        bench.take_back(
            actor=self.manager, outing_id=outing.pk, lines=lines, felt="right", now=outing.ends_at
        )

    def _go_wrong(self) -> None:
        """Leave what went wrong yesterday: a near miss, closed, and a board run aground; signed off."""
        evening = self.now - timedelta(hours=16)
        told = incidents.Told(
            kind="near_miss",
            severity="none",
            cause="unknown",
            happened_at=evening - timedelta(hours=2),
            words="The boom slid down the mast while planing. The rider swam the rig in; the boat stood by.",
            place="300 m off the slip",
            rider_id=self.able[-1].pk,
        )
        where: dict[str, Any] = {"actor": self.manager, "station_id": self.station.pk}
        miss = incidents.report_incident(**where, told=told, now=evening)
        about: dict[str, Any] = {"actor": self.manager, "incident_id": miss.pk}
        corrected = replace(told, cause="kit_set", severity="minor")
        why = "The rider says that the clamp was closed without its shim."
        incidents.correct_incident(**about, told=corrected, why=why, now=evening + timedelta(minutes=20))
        learnt = "Shims hang beside the booms now; the launch check asks to lean on the clamp."
        incidents.close_incident(**about, words=learnt, now=evening + timedelta(minutes=40))
        aground = replace(
            told, kind="damage", severity="moderate", cause="ground", words="Ran aground; the fin box leaks."
        )
        held = Hold.objects.filter(live=True).values("item")
        free = Item.objects.filter(station=self.station, state="ready", model__kind=Kind.BOARD)
        boards = list(free.exclude(pk__in=held).order_by("-water_s").values_list("pk", flat=True)[:1])
        incidents.report_incident(**where, told=aground, item_ids=boards, now=evening)
        if not Outing.objects.afloat().filter(station=self.station).exists():
            incidents.sign_day(
                **where,
                day=self.station.local(evening).date(),
                ticked=frozenset(key for key, _ in CLOSING),
                name=self.manager.name,
                note="Counted with the desk.",
                now=evening + timedelta(hours=1),
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
