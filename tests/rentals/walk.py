"""The cast with finer steps: each service of the walk with usual values that a test overrides one by one."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

from rentals.afloat import services as afloat
from rentals.afloat.models import LaunchCheck
from rentals.audit.models import Entry
from rentals.bench import services as bench
from rentals.bench.models import Job, ReturnCheck
from rentals.bookings import services as bookings
from rentals.bookings.models import Booking, Outing
from rentals.fleet.models import Hold, Item, ItemModel
from rentals.lib.access import Actor
from rentals.people.models import Rider
from rentals.people.services import RiderFacts
from rentals.rigs import services as rigs
from rentals.rigs.models import Card
from tests.cast import Cast, points

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)


class Walk(Cast):
    """The cast, and a rider's day taken step by step."""

    @cached_property
    def ida(self) -> Actor:
        """At the desk of Tarrow Lagoon, as services ask for her."""
        return self.actor(self.desk)

    @cached_property
    def jory(self) -> Actor:
        """Instructor at both stations, as services ask for him."""
        return self.actor(self.instructor)

    @cached_property
    def rhys(self) -> Actor:
        """Manager of the other station, as services ask for him."""
        return self.actor(self.neighbour)

    def book(self, *riders: Rider | RiderFacts, **values: Any) -> Booking:
        """Book riders for eleven to one."""
        usual: dict[str, Any] = {
            "actor": self.ida,
            "station_id": self.tarrow.pk,
            "contact": bookings.Contact(name="Wren Alder", phone="0700 100 200"),
            "kind": "rental",
            "starts_at": self.at(11),
            "ends_at": self.at(13),
            "riders": [each.pk if isinstance(each, Rider) else each for each in riders or [self.wren]],
            "now": self.now,
        }
        return bookings.book_party(**{**usual, **values})

    def kit(self, outing: Outing, *, actor: Actor | None = None, **choice: Any) -> Card:
        """Choose the usual kit, or another."""
        once = choice.pop("once", None)
        return rigs.kit_outing(
            actor=actor or self.ida,
            outing_id=outing.pk,
            choice=self.choice(**choice),
            once=once,
            now=self.now,
        )

    def issue(self, outing: Outing, **values: Any) -> Outing:
        """Hand over the first kit."""
        usual: dict[str, Any] = {"actor": self.ida, "kit_no": 1, "now": self.now}
        return bookings.issue_kit(outing_id=outing.pk, **{**usual, **values})

    def look_over(
        self, outing: Outing, *, open_points: Iterable[str] = (), at: datetime | None = None, **values: Any
    ) -> LaunchCheck:
        """Log a launch check with everything ticked but what is named."""
        ticked = frozenset(points(part.part for part in self.kit_of(outing))) - set(open_points)
        usual: dict[str, Any] = {"actor": self.jory, "kit_no": outing.kit_no, "overrides": {}}
        return afloat.check_launch(
            outing_id=outing.pk, ticked=ticked, now=at or self.now, **{**usual, **values}
        )

    def launch(self, outing: Outing, *, at: datetime | None = None) -> Outing:
        """Let a cleared rider go."""
        return afloat.launch(actor=self.jory, outing_id=outing.pk, now=at or self.now)

    def land(self, outing: Outing, *, after: timedelta = HOUR) -> Outing:
        """Note a rider ashore."""
        return afloat.call_ashore(actor=self.ida, outing_id=outing.pk, now=self.now + after)

    def still_out(self, outing: Outing) -> list[Item]:
        """Items that are with the rider."""
        return [part.item for part in self.kit_of(outing) if part.issued_at and not part.returned_at]

    def take_back(
        self,
        outing: Outing,
        *,
        missing: Sequence[Item] = (),
        faults: Mapping[str, str] | None = None,
        after: timedelta = 2 * HOUR,
        **values: Any,
    ) -> ReturnCheck:
        """Take everything back whole, but for items that are missing and faults by tag."""
        said = faults or {}
        lines = [
            bench.Came(item_id=item.pk, back=item not in missing, fault=said.get(item.tag, ""))
            for item in self.still_out(outing)
        ]
        usual: dict[str, Any] = {"actor": self.ida, "lines": lines, "now": self.now + after}
        return bench.take_back(outing_id=outing.pk, **{**usual, **values})

    def mend(self, job: Job, **values: Any) -> Job:
        """Mend a fault as the instructor."""
        usual: dict[str, Any] = {"actor": self.jory, "work": "New clamp", "minutes": 20, "now": self.now}
        return bench.mend(job_id=job.pk, **{**usual, **values})

    def release(self, job: Job, *, actor: Actor | None = None) -> Job:
        """Release an item as the manager."""
        return bench.release(actor=actor or self.boss, job_id=job.pk, now=self.now + HOUR)

    def one_more(self, tag: str, like: str, **values: Any) -> Item:
        """One more item of the model of a tag."""
        model: ItemModel = self.shed[like].model
        return Item.objects.create(**{"station": self.tarrow, "model": model, "tag": tag, **values})

    def state_of(self, tag: str) -> str:
        """The state of an item of the shed now."""
        return Item.objects.get(pk=self.shed[tag].pk).state

    def live_holds(self, outing: Outing) -> int:
        """How many items are held for an outing."""
        return Hold.objects.filter(live=True, purpose=f"outing {outing.pk}").count()

    def told(self, kind: str, subject_id: int) -> list[str]:
        """What the journal says of a thing, newest first."""
        return [entry.text for entry in Entry.objects.about(kind, subject_id)]


def again(outing: Outing) -> Outing:
    """The outing as the database has it now, with its faces."""
    return Outing.objects.with_faces().select_related("station").get(pk=outing.pk)
