"""What the bench's services share: finding an item or job that the actor may see, and the journal line."""

from datetime import datetime

from rentals.audit import services as journal
from rentals.bench.models import Job
from rentals.fleet.models import Item
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible
from rentals.lib.writes import inside_write


@inside_write
def visible_item(actor: Actor, item_id: int) -> Item:
    """Return an item that the actor may see, locked for a write.

    Raises:
        NotVisible: there is none for this actor.
    """
    items = Item.objects.visible_to(actor).select_related("model").select_for_update(of=("self",))
    item = items.filter(pk=item_id).first()
    if item is None:
        raise NotVisible("There is no such item here.")
    return item


def visible_job(actor: Actor, job_id: int) -> Job:
    """Return a bench job that the actor may see.

    Raises:
        NotVisible: there is none for this actor.
    """
    jobs = Job.objects.filter(item__station_id__in=actor.station_ids).select_related("item__model")
    job = jobs.filter(pk=job_id).first()
    if job is None:
        raise NotVisible("There is no such bench job here.")
    return job


@inside_write
def tell(actor: Actor, act: Act, job: Job, text: str, now: datetime) -> None:
    """Write a line on a job into its item's journal."""
    line = journal.Line("item", job.item_id, text, {"job": job.pk})
    journal.record(actor=actor, act=act, station_id=job.item.station_id, lines=[line], now=now)
