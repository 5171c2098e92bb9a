"""The demo in an empty station of one's own: an invented shed and riders, put there and taken away again."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from django.db import models
from django.db.models import ProtectedError

from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.models import Booking, KitPart, Outing, Party
from rentals.bookings.states import NOT_YET_AFLOAT, ON_THE_WATER_OR_BACK, OutingEvent
from rentals.desk import demo
from rentals.errands import services as errands
from rentals.fleet import services as fleet
from rentals.fleet.models import Item, ItemModel, Kind
from rentals.fleet.states import ItemEvent, ItemState
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict
from rentals.lib.writes import inside_write, write
from rentals.people.models import Rider
from rentals.stations.models import Station

SHED: Final = "tarrow-lagoon"
RIDERS: Final = 24
PARTY_OF: Final = 3
STARTS_H: Final = (2, 4)
"""Hours after opening on the next day at which the parties of the demo begin."""
LASTS: Final = timedelta(hours=2)

Made = Mapping[str, Sequence[int]]


class UnableToChangeDemo(Conflict):
    """The demo cannot be loaded or removed as things stand."""

    slug = "demo-refused"
    title = "The demo stays as it is"


@write
def load_demo(*, actor: Actor, taken: errands.Taken, now: datetime) -> None:
    """Put the demo into a station that has nothing of its own yet: shed, riders and tomorrow's bookings.

    No wind is put there: invented wind must not judge a launch.

    Raises:
        UnableToChangeDemo: the station has kit or riders.
    """
    actor.require(Act.SET_STATION, station_id=taken.station_id)
    station = Station.objects.select_for_update().get(pk=taken.station_id)
    if Item.objects.filter(station=station).exists() or Rider.objects.filter(station=station).exists():
        raise UnableToChangeDemo(
            f"{station.name} has kit or riders already. The demo goes only into an empty station."
        )
    known = set(ItemModel.objects.values_list("pk", flat=True))
    items = _fill_shed(station)
    riders = _meet(station, now)
    outings = _book(station, riders, now)
    made = {
        "items": [item.pk for item in items],
        "models": sorted({item.model_id for item in items} - known),
        "riders": [rider.pk for rider in riders],
        "outings": [outing.pk for outing in outings],
    }
    words = f"{len(items)} items, {len(riders)} riders and {len(outings)} outings of tomorrow are there."
    _tell(actor, taken, f"Loaded the demo: {words}", now)
    errands.leave(taken=taken, result=made, words=words, now=now)


@write
def remove_demo(*, actor: Actor, taken: errands.Taken, made: Made, now: datetime) -> None:
    """Take the demo away and leave what is the station's own.

    What has been used stays in the record: such an item is withdrawn, such a rider keeps the past alone.

    Args:
        actor: who removes it.
        taken: the errand.
        made: what the load put there.
        now: the moment.

    Raises:
        UnableToChangeDemo: a booking of the station's own hangs on it, or somebody has demo kit in hand.
    """
    actor.require(Act.SET_STATION, station_id=taken.station_id)
    Station.objects.select_for_update().get(pk=taken.station_id)
    _refuse_what_hangs_on_it(made)
    ours = Outing.objects.filter(pk__in=made["outings"]).select_related("station", "rider", "booking__party")
    for outing in ours.filter(state__in=NOT_YET_AFLOAT):
        bookings.call_off(
            actor=actor,
            act=Act.SET_STATION,
            outing=outing,
            event=OutingEvent.CANCEL,
            reason="The demo is removed",
            now=now,
        )
    parties = set(ours.values_list("booking__party_id", flat=True))
    _delete(ours)
    _delete(Booking.objects.filter(party__in=parties))
    _delete(Party.objects.filter(pk__in=parties))
    riders_left = _delete(Rider.objects.filter(pk__in=made["riders"]))
    items_left = _put_away(actor, made["items"], now)
    _delete(ItemModel.objects.filter(pk__in=made["models"]))
    words = "The demo is gone."
    if items_left or riders_left:
        words += (
            f" What was used stays in the record: {items_left} items, withdrawn, and {riders_left} riders."
        )
    _tell(actor, taken, f"Removed the demo: {words}", now)
    errands.leave(taken=taken, result={}, words=words, now=now)


@inside_write
def _tell(actor: Actor, taken: errands.Taken, text: str, now: datetime) -> None:
    line = journal.Line("station", taken.station_id, text)
    journal.record(actor=actor, act=Act.SET_STATION, station_id=taken.station_id, lines=[line], now=now)


def _refuse_what_hangs_on_it(made: Made) -> None:
    ours = Outing.objects.filter(pk__in=made["outings"])
    alive = Outing.objects.filter(state__in=[*NOT_YET_AFLOAT, *ON_THE_WATER_OR_BACK])
    kit = KitPart.objects.filter(item__in=made["items"])
    on_kit = alive.filter(pk__in=kit.in_force().filter(returned_at=None).values("outing"))
    real = alive.filter(rider__in=made["riders"]) | on_kit
    for outing in real.exclude(pk__in=ours.values("pk")).select_related("station", "rider")[:1]:
        raise UnableToChangeDemo(
            f"{outing.rider}'s outing of {outing.station.local(outing.starts_at):%-d %b, %H:%M} hangs on the "
            "demo. Give it kit of your own or call it off, then remove the demo."
        )
    in_hand = kit.with_rider().values("outing")
    for outing in (alive.filter(pk__in=in_hand) | ours.filter(state__in=ON_THE_WATER_OR_BACK))[:1]:
        raise UnableToChangeDemo(
            f"{outing.rider} has kit of the demo in hand. Take it back first, then remove the demo."
        )


@inside_write
def _delete(rows: "models.QuerySet[Any]") -> int:
    """Delete rows that nothing on record points to; return how many stay."""
    stay = 0
    for row in rows:
        try:
            row.delete()
        except ProtectedError:
            stay += 1
    return stay


@inside_write
def _put_away(actor: Actor, item_ids: Iterable[int], now: datetime) -> int:
    """Delete items never used, withdraw the others; return how many those are."""
    items = Item.objects.filter(pk__in=list(item_ids))
    fleet.derig(actor=actor, act=Act.SET_STATION, item_ids=list(items.values_list("pk", flat=True)), now=now)
    stay = _delete(items)
    left = items.exclude(state=ItemState.WITHDRAWN)
    fleet.move_items(
        actor=actor,
        act=Act.SET_STATION,
        items=list(left),
        event=ItemEvent.WITHDRAW,
        text="Withdrawn with the demo",
        now=now,
    )
    return stay


@inside_write
def _fill_shed(station: Station) -> list[Item]:
    facts = {each["name"]: each for each in demo.told("models")}
    items = []
    count: dict[str, int] = {}
    for name, units_held in demo.shed(SHED).items():
        model, _new = ItemModel.objects.get_or_create(
            kind=facts[name]["kind"], name=name, defaults=facts[name]
        )
        for _unit in range(units_held):
            count[model.kind] = count.get(model.kind, 0) + 1
            tag = f"{demo.TAG_LETTERS[Kind(model.kind)]}{count[model.kind]:02d}"
            items.append(Item(station=station, model=model, tag=tag))
    return Item.objects.bulk_create(items)


@inside_write
def _meet(station: Station, now: datetime) -> list[Rider]:
    return Rider.objects.bulk_create(
        Rider(
            station=station,
            name=figure.name,
            born_on=figure.born_on,
            mass_kg=Decimal(str(figure.mass_kg)),
            stature_cm=figure.stature_cm,
            level=figure.level,
            swims=True,
            phone=f"0700 {number:03d} 000",
            waiver_signed_at=now,
            guardian_name=figure.guardian_name,
            guardian_phone="0700 999 000" if figure.guardian_name else "",
            guardian_consent_at=now if figure.guardian_name else None,
        )
        for number, figure in zip(range(RIDERS), demo.figures(now.date()), strict=False)
    )


@inside_write
def _book(station: Station, riders: Sequence[Rider], now: datetime) -> list[Outing]:
    """Book two parties for tomorrow."""
    tomorrow = station.local(now + timedelta(days=1))
    opening = tomorrow.replace(hour=station.opens.hour, minute=station.opens.minute, second=0, microsecond=0)
    outings = []
    for number, hours in enumerate(STARTS_H):
        members = riders[number * PARTY_OF : (number + 1) * PARTY_OF]
        party = Party.objects.create(
            station=station, contact_name=members[0].name, contact_phone=members[0].phone
        )
        booking = Booking.objects.create(party=party, kind=Booking.Kind.RENTAL, booked_at=now)
        start = opening + timedelta(hours=hours)
        outings += [
            Outing(station=station, booking=booking, rider=rider, starts_at=start, ends_at=start + LASTS)
            for rider in members
        ]
    return Outing.objects.bulk_create(outings)
