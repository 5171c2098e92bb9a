"""The bench: jobs that wait, what is noted on them, mending, releasing."""

from http import HTTPStatus

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.paging import PageQuery
from api.schema import operation
from api.shapes import Choice, Day, In, ItemBrief, Moment, Out, Text
from rentals.bench import services
from rentals.bench.models import MOST_COST, Job, JobLine
from rentals.bench.states import UNFINISHED, JobState
from rentals.lib import clock
from rentals.lib.problems import NotVisible

STATES = [state.value for state in JobState]
MOST_MINUTES = 6000


class JobShape(Out):
    """One fault of one item, from report to release."""

    id = serializers.IntegerField()
    item = ItemBrief()
    fault = serializers.CharField()
    state = serializers.ChoiceField(STATES)
    outing_id = serializers.IntegerField(allow_null=True, help_text="On which it was found.")
    opened_at = Moment()
    work = serializers.CharField()
    minutes = serializers.IntegerField(allow_null=True)
    mended_at = Moment(allow_null=True)
    finished_at = Moment(allow_null=True)


class LineShape(Out):
    """One line of work on a job."""

    id = serializers.IntegerField()
    at = Moment()
    kind = serializers.ChoiceField(JobLine.Kind.choices)
    text = serializers.CharField()
    minutes = serializers.IntegerField(allow_null=True)
    cost = serializers.DecimalField(max_digits=8, decimal_places=2, allow_null=True)
    currency = serializers.CharField(help_text="Empty without a cost.")
    due_on = serializers.DateField(allow_null=True, help_text="When a workshop gives it back.")


class JobQuery(PageQuery):
    """Which jobs."""

    state = Choice(STATES, required=False, help_text="Those unfinished when left out.")


class Mending(In):
    """What was done about a fault."""

    work = Text()
    minutes = serializers.IntegerField(min_value=0, max_value=MOST_MINUTES, allow_null=True, default=None)


class NewLine(In):
    """A diagnosis, work, parts, or a workshop with the day it gives the item back."""

    kind = Choice(JobLine.Kind.values)
    text = Text()
    minutes = serializers.IntegerField(min_value=0, max_value=MOST_MINUTES, allow_null=True, default=None)
    cost = serializers.DecimalField(
        max_digits=7,
        decimal_places=2,
        min_value=0,
        max_value=MOST_COST,
        allow_null=True,
        default=None,
        help_text="In the currency of the station's bench.",
    )
    due_on = Day(allow_null=True, default=None)


class Jobs(Endpoint):
    """Jobs of a station's bench."""

    @operation("list_jobs", JobShape, many=True, query=JobQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List the bench's jobs, oldest first."""
        asked = self.query(JobQuery)
        states = [asked["state"]] if "state" in asked else UNFINISHED
        jobs = Job.objects.filter(item__station=self.station(station), state__in=states)
        return self.page(JobShape, jobs.select_related("item__model"), "opened_at", asked)


class JobLines(Endpoint):
    """What is noted on a job."""

    @operation("list_job_lines", LineShape, many=True)
    def get(self, request: Asked, job_id: int) -> Response:
        """List what was noted on a job, oldest first."""
        seen = Job.objects.filter(item__station_id__in=request.actor.station_ids, pk=job_id)
        job = seen.select_related("item__station").first()
        if job is None:
            raise NotVisible("There is no such bench job here.")
        self.on_clock_of(job.item.station)
        return Response(LineShape(job.lines.order_by("at", "id"), many=True).data)

    @operation("note_job", LineShape, status=HTTPStatus.CREATED, body=NewLine, once=True)
    def post(self, request: Asked, job_id: int) -> Response:
        """Note a diagnosis, work, parts or an outside workshop on a job that is not finished."""
        note, once = services.Note(**self.body(NewLine)), self.once()
        line = services.note_job(actor=request.actor, job_id=job_id, note=note, once=once, now=clock.now())
        kept = JobLine.objects.select_related("job__item__station").get(pk=line.pk)
        self.on_clock_of(kept.job.item.station)
        return self.say(LineShape, kept, HTTPStatus.CREATED)


class Mend(Endpoint):
    """Mending."""

    @operation("mend", JobShape, body=Mending)
    def post(self, request: Asked, job_id: int) -> Response:
        """Note what mended a fault; the item stays on the bench until somebody releases it."""
        job = services.mend(actor=request.actor, job_id=job_id, **self.body(Mending), now=clock.now())
        return answer(self, job)


class Release(Endpoint):
    """Releasing."""

    @operation("release", JobShape)
    def post(self, request: Asked, job_id: int) -> Response:
        """Release a mended item into use, if no other fault of it is open."""
        job = services.release(actor=request.actor, job_id=job_id, now=clock.now())
        return answer(self, job)


def answer(endpoint: Endpoint, job: Job, status: int = 200) -> Response:
    """Answer with a job as it stands, on its station's clock: one query."""
    kept = Job.objects.select_related("item__model", "item__station").get(pk=job.pk)
    endpoint.on_clock_of(kept.item.station)
    return endpoint.say(JobShape, kept, status)
