"""The bench's jobs with their lines and photos, what blocks tomorrow first."""

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import F, OuterRef, QuerySet, Subquery

from rentals.bench.models import (
    Job,
    JobLine,
    Photo,
)
from rentals.bench.states import UNFINISHED
from rentals.fleet.models import Hold
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.lib.when import day_bounds
from rentals.stations.models import Station


@dataclass(frozen=True, slots=True)
class BenchJob:
    """A job with its lines and photos, and by when its item is promised or planned."""

    job: Job
    lines: tuple[JobLine, ...]
    photos: tuple[Photo, ...]
    needed_at: datetime | None = None

    @property
    def minutes(self) -> int:
        """Minutes of work, by its lines and what mended it."""
        return sum(line.minutes or 0 for line in self.lines) + (self.job.minutes or 0)

    @property
    def costs(self) -> tuple[tuple[Decimal, str], ...]:
        """Its costs by currency."""
        sums: defaultdict[str, Decimal] = defaultdict(Decimal)
        for line in self.lines:
            if line.cost is not None:
                sums[line.currency] += line.cost
        return tuple((cost, currency) for currency, cost in sums.items())

    @property
    def workshop(self) -> JobLine | None:
        """The outside workshop that has it last."""
        return next((line for line in reversed(self.lines) if line.kind == JobLine.Kind.WORKSHOP), None)


def jobs_at(station: Station, *, now: datetime) -> list[BenchJob]:
    """Return the bench's unfinished jobs: three queries.

    What blocks the rest of today or tomorrow comes first, the earliest first; then the oldest.
    """
    tomorrow = station.local(now).date() + timedelta(days=1)
    _, horizon = day_bounds(tomorrow, station.zone)
    holds = Hold.objects.filter(item=OuterRef("item"), live=True, ends_at__gt=now, starts_at__lt=horizon)
    found = (
        Job.objects.filter(item__station=station, state__in=UNFINISHED)
        .annotate(needed_at=Subquery(holds.order_by("starts_at").values("starts_at")[:1]))
        .select_related("item__model", "opened_by", "mended_by")
        .order_by(F("needed_at").asc(nulls_last=True), "opened_at", "id")
    )
    jobs = _with_lines(found)
    needed = {job.pk: job.needed_at for job in found}
    return [replace(each, needed_at=needed[each.job.pk]) for each in jobs]


def job_for(actor: Actor, station: Station, job_id: int) -> BenchJob:
    """Return a job of a station's bench, finished or not: three queries.

    Raises:
        NotVisible: there is none there for this actor.
    """
    if station.pk not in actor.station_ids:
        raise NotVisible("There is no such bench job here.")
    jobs = Job.objects.filter(item__station=station, pk=job_id)
    found = _with_lines(jobs.select_related("item__model", "opened_by", "mended_by", "finished_by"))
    if not found:
        raise NotVisible("There is no such bench job here.")
    return found[0]


def photo_for(actor: Actor, station: Station, photo_id: int) -> Photo:
    """Return a photo of a station's bench: one query.

    Raises:
        NotVisible: there is none there for this actor.
    """
    photos = Photo.objects.filter(job__item__station=station, job__item__station_id__in=actor.station_ids)
    photo = photos.filter(pk=photo_id).first()
    if photo is None:
        raise NotVisible("There is no such photo here.")
    return photo


def _with_lines(jobs: QuerySet[Job]) -> list[BenchJob]:
    """Jobs with their lines and photos, the pictures themselves left where they are: three queries."""
    rows = list(jobs)
    lines, photos = defaultdict(list), defaultdict(list)
    for line in JobLine.objects.filter(job__in=rows).select_related("by").order_by("at", "id"):
        lines[line.job_id].append(line)
    for photo in Photo.objects.filter(job__in=rows).defer("content").order_by("id"):
        photos[photo.job_id].append(photo)
    return [BenchJob(job, tuple(lines[job.pk]), tuple(photos[job.pk])) for job in rows]
