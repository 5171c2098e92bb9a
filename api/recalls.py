"""Recalls of kit: calling a model or batch back, who has it with them, and ending it."""

from http import HTTPStatus
from typing import ClassVar

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.paging import PageQuery
from api.schema import operation
from api.shapes import Id, In, ItemBrief, Moment, Note, Out, Text
from rentals.bench import queries, services
from rentals.bench.models import KitRecall
from rentals.lib import clock
from rentals.lib.problems import NotVisible

BATCH, MAKER = 40, 120


class KitRecallShape(Out):
    """A model of kit, or one batch of it, called back."""

    id = serializers.IntegerField()
    model_id = serializers.IntegerField()
    model = serializers.CharField(source="model.name")
    batch = serializers.CharField(help_text="Empty for the whole model.")
    reason = serializers.CharField()
    maker = serializers.CharField()
    at = Moment()
    ended_at = Moment(allow_null=True)
    ended_because = serializers.CharField()


class CalledItem(Out):
    """An item that a recall holds or held, and the outing that has it."""

    item = ItemBrief()
    outing_id = serializers.IntegerField(
        source="rider.outing_id", allow_null=True, default=None, help_text="Null when it is in the shed."
    )
    lifted_at = Moment(source="held.lifted_at", allow_null=True)


class WholeKitRecall(Out):
    """A recall with its items, those with riders first."""

    recall = KitRecallShape()
    items = CalledItem(many=True)


class NewKitRecall(In):
    """What is called back, and why."""

    model_id = Id()
    batch = Note(most=BATCH, help_text="Only this batch.")
    reason = Text()
    maker = Note(most=MAKER, help_text="Who is told.")


class KitRecallEnding(In):
    """Why a recall ends."""

    because = Text()


class KitRecalls(Endpoint):
    """Recalls of a station."""

    pointers: ClassVar = {"model": "/model_id"}

    @operation("list_kit_recalls", KitRecallShape, many=True, query=PageQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List recalls of kit, the newest first."""
        recalls = KitRecall.objects.filter(station=self.station(station)).select_related("model")
        return self.page(KitRecallShape, recalls, "-at", self.query(PageQuery))

    @operation("recall_kit", WholeKitRecall, status=HTTPStatus.CREATED, body=NewKitRecall, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Call a model or a batch back: held back at once, promises undone, plans made anew."""
        at, sent, once = self.station(station), self.body(NewKitRecall), self.once()
        made = services.recall_kit(actor=request.actor, station_id=at.pk, **sent, once=once, now=clock.now())
        return _whole(self, made.pk, HTTPStatus.CREATED)


class OneKitRecall(Endpoint):
    """One recall."""

    @operation("get_kit_recall", WholeKitRecall)
    def get(self, request: Asked, recall_id: int) -> Response:
        """Return a recall with its items and who has them."""
        return _whole(self, recall_id)


class EndKitRecall(Endpoint):
    """Ending a recall."""

    @operation("end_kit_recall", WholeKitRecall, body=KitRecallEnding)
    def post(self, request: Asked, recall_id: int) -> Response:
        """End a recall: what nothing else holds back is ready again."""
        services.end_recall(
            actor=request.actor, recall_id=recall_id, **self.body(KitRecallEnding), now=clock.now()
        )
        return _whole(self, recall_id)


def _whole(endpoint: Endpoint, recall_id: int, status: int = HTTPStatus.OK) -> Response:
    """Answer with a recall on its station's clock: four queries."""
    actor = endpoint.request.actor
    seen = KitRecall.objects.filter(station_id__in=actor.station_ids, pk=recall_id)
    recall = seen.select_related("station").first()
    if recall is None:
        raise NotVisible("There is no such recall here.")
    endpoint.on_clock_of(recall.station)
    return endpoint.say(WholeKitRecall, queries.recall_for(actor, recall.station, recall_id), status)
