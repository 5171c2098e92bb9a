"""Calling a model or batch of kit back: held at once, promises undone, plans asked for again."""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from uuid import UUID

from django.db.models import Q

from rentals.audit import services as journal
from rentals.bench.models import KitRecall
from rentals.bench.services.jobs import with_faults
from rentals.bookings import services as bookings
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import OutingEvent, OutingState
from rentals.dayplan import services as dayplan
from rentals.dayplan.models import RigTask
from rentals.dayplan.states import PlanState
from rentals.fleet import services as fleet
from rentals.fleet.models import RIG_PARTS, Cause, HoldBack, Item
from rentals.fleet.states import ItemState
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, NotVisible, Refused
from rentals.lib.writes import inside_write, write
from rentals.stations.models import Station


class UnableToRecall(Refused):
    """The recall does not hold together."""

    slug = "recall-refused"
    title = "Check the recall"


class RecallEnded(Conflict):
    """The recall has ended already."""

    slug = "recall-ended"
    title = "That recall has ended"


@write
def recall_kit(
    *,
    actor: Actor,
    station_id: int,
    model_id: int,
    batch: str,
    reason: str,
    maker: str = "",
    once: UUID | None = None,
    now: datetime,
) -> KitRecall:
    """Call every item of a model back, or of one batch of it.

    What is in the shed is held back at once. Outings whose kit it is in and that do not have it yet are
    booked again without kit, and a new plan is asked for on each of their days. Riders who have it with them
    stay on the Afloat page until it is back; it goes aside then.

    Raises:
        UnableToRecall: no reason, or no item of that model and batch here.
    """
    actor.require(Act.RECALL_KIT, station_id=station_id)
    asked = [station_id, model_id, batch, reason, maker]
    claim = journal.claim(actor=actor, act=Act.RECALL_KIT, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return KitRecall.objects.get(pk=claim.result_id)
    if not reason.strip():
        raise UnableToRecall.at("reason", "Enter why, for whoever asks later.")
    items = _called(station_id, model_id, batch.strip())
    station = Station.objects.get(pk=station_id)
    recall = KitRecall.objects.create(
        station=station,
        model_id=model_id,
        batch=batch.strip(),
        reason=reason.strip(),
        maker=maker.strip(),
        at=now,
        by_id=actor.user_id,
    )
    fleet.hold_back(
        actor=actor,
        act=Act.RECALL_KIT,
        items=items,
        cause=Cause.RECALL,
        subject=recall.subject,
        text=recall.reason,
        now=now,
    )
    days = _undo_promises(actor, station, items, now) | _planned_days(station, items, now)
    for day in sorted(days):
        dayplan.plan_again(actor=actor, station=station, day=day, now=now)
    text = f"Called back {recall}: {len(items)} items; {recall.reason}"
    line = journal.Line("station", station_id, text, {"recall": recall.pk})
    journal.record(actor=actor, act=Act.RECALL_KIT, station_id=station_id, lines=[line], now=now)
    journal.settle(claim, recall.pk)
    return recall


@write
def end_recall(*, actor: Actor, recall_id: int, because: str, now: datetime) -> KitRecall:
    """End a recall: what it still holds back is ready again where nothing else holds it.

    Raises:
        NotVisible, RecallEnded, UnableToRecall: no such recall here; ended already; no word why.
    """
    recall = (
        KitRecall.objects.filter(station_id__in=actor.station_ids, pk=recall_id)
        .select_for_update(of=("self",))
        .select_related("model")
        .first()
    )
    if recall is None:
        raise NotVisible("There is no such recall here.")
    actor.require(Act.END_RECALL, station_id=recall.station_id)
    if recall.ended_at is not None:
        raise RecallEnded("That recall has ended already.")
    if not because.strip():
        raise UnableToRecall.at("because", "Enter why it ends: what the maker says, or what was done.")
    held = list(HoldBack.objects.standing().filter(cause=Cause.RECALL, subject=recall.subject))
    fleet.lift(
        actor=actor,
        act=Act.END_RECALL,
        hold_backs=held,
        because=because.strip(),
        not_yet=with_faults([each.item_id for each in held]),
        now=now,
    )
    recall.ended_at, recall.ended_because = now, because.strip()
    KitRecall.objects.filter(pk=recall.pk).update(
        ended_at=now, ended_by_id=actor.user_id, ended_because=because.strip()
    )
    line = journal.Line("station", recall.station_id, f"Recall of {recall} ended: {because.strip()}")
    journal.record(actor=actor, act=Act.END_RECALL, station_id=recall.station_id, lines=[line], now=now)
    return recall


def _called(station_id: int, model_id: int, batch: str) -> list[Item]:
    items = Item.objects.filter(station=station_id, model=model_id).exclude(state=ItemState.WITHDRAWN)
    found = list((items.filter(batch__iexact=batch) if batch else items).order_by("tag"))
    if not found:
        known = sorted({each for each in items.values_list("batch", flat=True) if each})
        said = f" Its batches here: {', '.join(known)}." if known else ""
        raise UnableToRecall.at("batch" if batch else "model", f"There is no such item here.{said}")
    return found


@inside_write
def _undo_promises(actor: Actor, station: Station, items: Collection[Item], now: datetime) -> set[date]:
    """Book outings again whose kit, not handed out yet, holds one of the items; returns their days."""
    promised = KitPart.objects.filter(item__in=items).to_issue().values("outing")
    outings = Outing.objects.filter(
        pk__in=promised, state__in=(OutingState.KITTED, OutingState.CLEARED), ends_at__gt=now
    )
    days, lines = set(), []
    for outing in outings.select_related("rider").select_for_update(of=("self",)).order_by("pk"):
        bookings.drop_kit(outing=outing, now=now)
        bookings.move_outing(outing, OutingEvent.UNKIT)
        lines.append(journal.Line("outing", outing.pk, "Kit called back: choose or plan another"))
        days.add(station.local(outing.starts_at).date())
    journal.record(actor=actor, act=Act.RECALL_KIT, station_id=station.pk, lines=lines, now=now)
    return days


def _planned_days(station: Station, items: Iterable[Item], now: datetime) -> set[date]:
    """Days to come whose plan in force builds a rig of one of the items."""
    ids = [item.pk for item in items]
    tasks = RigTask.objects.filter(
        plan__station=station, plan__state=PlanState.ACCEPTED, plan__day__gte=station.local(now).date()
    )
    in_one = Q(pk=None)
    for part in RIG_PARTS:
        in_one |= Q(**{f"{part.value}__in": ids})
    return set(tasks.filter(in_one, ticked_at=None).values_list("plan__day", flat=True))
