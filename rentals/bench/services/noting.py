"""What is noted on a job on its way: diagnosis, work, parts and costs, an outside workshop, photos."""

from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal
from hashlib import sha256
from uuid import UUID

from rentals.audit import services as journal
from rentals.bench.formats.photos import UnreadablePicture, small_jpeg
from rentals.bench.models import MOST_COST, MOST_MINUTES, JobLine, Photo
from rentals.bench.services.common import tell, visible_job
from rentals.bench.services.jobs import JobMovedOn, UnableToMend
from rentals.bench.states import UNFINISHED
from rentals.fleet.models import Item
from rentals.lib.access import Act, Actor
from rentals.lib.writes import write

MOST_PHOTOS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One line on a job. Costs are in the station's currency; a workshop says when it gives the item back."""

    kind: str
    text: str
    minutes: int | None = None
    cost: Decimal | None = None
    due_on: date | None = None


@write
def note_job(*, actor: Actor, job_id: int, note: Note, once: UUID | None = None, now: datetime) -> JobLine:
    """Note a diagnosis, work, parts or an outside workshop on a job that is not finished.

    Raises:
        NotVisible: no such job here.
        UnableToMend: no word, a number out of range, or a workshop without the day it is due back.
        JobMovedOn: the job is finished.
    """
    job = visible_job(actor, job_id)
    actor.require(Act.MEND, station_id=job.item.station_id)
    asked = [job_id, asdict(note)]
    claim = journal.claim(actor=actor, act=Act.MEND, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return JobLine.objects.get(pk=claim.result_id)
    if job.state not in UNFINISHED:
        raise JobMovedOn(f"The job is {job.state}. Report a new fault.")
    _check(note, job.item.station.local(now).date())
    cost = None if note.cost is None else note.cost.quantize(Decimal("0.01"))
    line = JobLine.objects.create(
        job=job,
        at=now,
        by_id=actor.user_id,
        kind=note.kind,
        text=note.text.strip(),
        minutes=note.minutes,
        cost=cost,
        currency="" if cost is None else job.item.station.currency,
        due_on=note.due_on,
    )
    said = "" if cost is None else f", {line.cost} {line.currency}"
    tell(actor, Act.MEND, job, f"{line.get_kind_display()}: {line.text}{said}", now)
    journal.settle(claim, line.pk)
    return line


@write
def add_photo(*, actor: Actor, job_id: int, content: bytes, once: UUID | None = None, now: datetime) -> Photo:
    """Keep a photo of a fault, made small and without metadata.

    Raises:
        NotVisible: no such job here.
        UnableToMend: no picture, one too large, or as many as a job holds.
    """
    job = visible_job(actor, job_id)
    actor.require(Act.REPORT_FAULT, station_id=job.item.station_id)
    asked = [job_id, sha256(content).hexdigest()]
    claim = journal.claim(actor=actor, act=Act.REPORT_FAULT, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Photo.objects.get(pk=claim.result_id)
    # Locked, so that two who send at once do not pass the number that a job holds.
    Item.objects.select_for_update().get(pk=job.item_id)
    if Photo.objects.filter(job=job).count() >= MOST_PHOTOS:
        raise UnableToMend.at("photo", f"A job holds {MOST_PHOTOS} photos, and it has them.")
    try:
        picture = small_jpeg(content)
    except UnreadablePicture as problem:
        raise UnableToMend.at("photo", str(problem)) from problem
    photo = Photo.objects.create(
        job=job,
        at=now,
        by_id=actor.user_id,
        content=picture.content,
        width=picture.width,
        height=picture.height,
    )
    tell(actor, Act.REPORT_FAULT, job, f"Photo of: {job.fault}", now)
    journal.settle(claim, photo.pk)
    return photo


def _check(note: Note, today: date) -> None:
    if note.kind not in JobLine.Kind.values:
        raise UnableToMend.at("kind", "Choose diagnosis, work, parts or workshop.")
    if not note.text.strip():
        raise UnableToMend.at("text", "Enter what was found or done, which part, or which workshop.")
    if len(note.text.strip()) > 300:
        raise UnableToMend.at("text", "Enter at most 300 characters.")
    if note.minutes is not None and not 0 <= note.minutes <= MOST_MINUTES:
        raise UnableToMend.at("minutes", f"Enter 0 to {MOST_MINUTES} minutes, or leave it empty.")
    if note.cost is not None and not (note.cost.is_finite() and 0 <= note.cost <= MOST_COST):
        raise UnableToMend.at("cost", f"Enter 0 to {MOST_COST}, or leave it empty.")
    if (note.kind == JobLine.Kind.WORKSHOP) is not (note.due_on is not None):
        raise UnableToMend.at("due_on", "Enter the day a workshop gives it back; only a workshop has one.")
    if note.due_on is not None and note.due_on < today:
        raise UnableToMend.at("due_on", "Enter a day to come.")
