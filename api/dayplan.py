"""Day plans: asking, looking, choosing another sail, accepting, and ticking rigs off."""

from http import HTTPStatus
from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.paging import PageQuery
from api.schema import operation
from api.shapes import Choice, Day, Id, In, ItemBrief, Moment, Out, RiderBrief, Tenths, Text
from rentals.bookings.models import LONGEST_OUTING, Booking
from rentals.bookings.services import MOST_RIDERS
from rentals.dayplan import queries, services
from rentals.dayplan.models import Plan
from rentals.dayplan.states import PlanState
from rentals.lib import clock
from rentals.people.models import MASS_KG, STATURE_CM, Rider
from rentals.stations.models import LEVELS

STATES = [state.value for state in PlanState]
LONGEST_NAME = 80


class PlanShape(Out):
    """A plan of a station's day, from being asked for to being replaced."""

    id = serializers.IntegerField()
    station = serializers.CharField(source="station.slug")
    day = serializers.DateField()
    number = serializers.IntegerField(help_text="Of the station's day, from 1.")
    state = serializers.ChoiceField(STATES)
    basis_id = serializers.IntegerField(allow_null=True, help_text="The plan it is compared with.")
    note = serializers.CharField(help_text="What was chosen by hand; else empty.")
    asked_at = Moment()
    progress = serializers.IntegerField(help_text="Per cent.")
    words = serializers.CharField(help_text="How it stands.")
    solved_at = Moment(allow_null=True)
    seconds = serializers.FloatField(allow_null=True)
    objective = serializers.FloatField(allow_null=True, help_text="Smaller is better.")
    bound = serializers.FloatField(allow_null=True, help_text="No plan is under it.")
    gap = serializers.FloatField(allow_null=True, help_text="(objective - bound) / objective.")
    proven = serializers.BooleanField(allow_null=True, help_text="Objective and bound meet.")
    served = serializers.IntegerField(allow_null=True)
    unserved = serializers.IntegerField(allow_null=True)
    accepted_at = Moment(allow_null=True)


class OutingBrief(Out):
    """An outing by its time and rider."""

    id = serializers.IntegerField()
    starts_at = Moment()
    ends_at = Moment()
    rider = RiderBrief()


class PlannedRider(Out):
    """A rider and the kit that the plan gives."""

    outing = OutingBrief()
    sail = serializers.CharField()
    sail_tag = serializers.CharField()
    board = serializers.CharField()
    board_tag = serializers.CharField()
    mismatch = serializers.IntegerField(help_text="Hundredths of a full loss against the rider's best kit.")
    fit = serializers.CharField(help_text="The mismatch in a word.")
    has_it = serializers.BooleanField(source="out", help_text="The kit is with the rider already.")
    ruled_out = serializers.BooleanField(help_text="The wind now rules the sail out: call them in.")
    instead = serializers.CharField(help_text="What differs from what was promised; else empty.")


class ShortRider(Out):
    """A rider who gets no rig."""

    outing = OutingBrief()
    reason = serializers.CharField()
    remedy = serializers.CharField(help_text="The cheapest thing that would change it; empty if none.")


class PlannedPart(Out):
    """A part of a rig."""

    part = serializers.CharField()
    model = serializers.CharField()
    tag = serializers.CharField()


class PlannedRig(Out):
    """A rig of the plan; those to build first, in the crew's order."""

    id = serializers.CharField(source="rig_id")
    parts = PlannedPart(many=True)
    stands = serializers.BooleanField()
    starts_at = Moment(allow_null=True)
    due_at = Moment(allow_null=True)
    needed_at = Moment(allow_null=True)
    riders = serializers.ListField(child=serializers.CharField())


class AsideOuting(Out):
    """An outing that was not put into the plan."""

    outing = OutingBrief()
    why = serializers.CharField()


class Costs(Out):
    """What the plan does beside the one that it is compared with."""

    basis = serializers.IntegerField(help_text="Its number.")
    lines = serializers.ListField(child=serializers.CharField())


class Tiding(Out):
    """Somebody who must be told, since the plan was accepted."""

    outing_id = serializers.IntegerField()
    rider = serializers.CharField()
    reach = serializers.CharField()
    kind = serializers.ChoiceField(["other_kit", "no_rig"])
    text = serializers.CharField()


class TaskShape(Out):
    """A rig of the crew's list."""

    id = serializers.IntegerField()
    place = serializers.IntegerField()
    sail = ItemBrief()
    mast = ItemBrief()
    boom = ItemBrief()
    extension = ItemBrief()
    base = ItemBrief()
    starts_at = Moment()
    due_at = Moment()
    needed_at = Moment()
    ticked_at = Moment(allow_null=True)


class PlanWhole(PlanShape):
    """A plan laid out; its lists are empty until it is solved."""

    quality = serializers.CharField(help_text="How good it is, in words that claim no more than was proven.")
    riders = PlannedRider(many=True)
    short = ShortRider(many=True)
    rigs = PlannedRig(many=True)
    aside = AsideOuting(many=True)
    cost = Costs(allow_null=True)
    changes = Tiding(many=True)
    tasks = TaskShape(many=True, help_text="The crew's list, once the plan was accepted.")


class Papers(Out):
    """Instance and plan in the form of `python -m rigging.allot`, to be checked without us."""

    formulas = serializers.CharField()
    instance = serializers.JSONField()
    plan = serializers.JSONField(allow_null=True)


class PlanQuery(PageQuery):
    """Which plans."""

    day = Day(required=False, help_text="All when left out.")
    state = Choice(STATES, required=False)


class Asking(In):
    """Which day to plan."""

    day = Day(required=False, help_text="Today at the station when left out.")


class Adjusting(In):
    """Another sail for one rider."""

    outing_id = Id()
    sail = Text(most=LONGEST_NAME, help_text="By the name of its model.")


class Ticking(In):
    """Whether a rig is built."""

    built = serializers.BooleanField(help_text="False takes a tick back.")


class AskingRider(In):
    """A rider as far as a rig depends on them."""

    mass_kg = Tenths(low=MASS_KG[0], high=MASS_KG[1])
    stature_cm = serializers.IntegerField(min_value=STATURE_CM[0], max_value=STATURE_CM[1])
    level = Choice(LEVELS)


class AskingParty(In):
    """A party that asks whether it can be served."""

    kind = Choice(Booking.Kind.choices)
    starts_at = Moment()
    ends_at = Moment()
    riders = serializers.ListField(child=AskingRider(), min_length=1, max_length=MOST_RIDERS)


class GoesShort(Out):
    """A rider of the party who would get no rig."""

    place = serializers.IntegerField(help_text="In the party, from 0.")
    reason = serializers.CharField()
    remedy = serializers.CharField(help_text="What it would take; empty if nothing is known.")
    by_wind = serializers.BooleanField(help_text="No kit would help: the wind is wrong for this rider.")


class WouldGet(Out):
    """What a rider of the party would get."""

    place = serializers.IntegerField(help_text="In the party, from 0.")
    sail = serializers.CharField()
    board = serializers.CharField()


class OutlookShape(Out):
    """The party in one wind."""

    wind = serializers.ChoiceField(list(queries.WINDS))
    share = serializers.FloatField(
        help_text="Of the forecast wind; null without a forecast.", allow_null=True
    )
    mean_ms = serializers.FloatField(help_text="At 10 m over the water.")
    sure = serializers.BooleanField(help_text="No plan would serve more of the party.")
    short = GoesShort(many=True)
    given = WouldGet(many=True)


class PromiseShape(Out):
    """Whether a party may be promised its time."""

    holds = serializers.BooleanField(
        help_text="Nobody lacks kit in any wind looked at, nor stays ashore in the wind that is forecast."
    )
    forecast = serializers.BooleanField(help_text="A forecast reaches that time; else winds are assumed.")
    text = serializers.CharField()
    outlooks = OutlookShape(many=True)


class Promises(Endpoint):
    """Whether a party can be served."""

    @operation("look_at_promise", PromiseShape, body=AskingParty)
    def post(self, request: Asked, station: str) -> Response:
        """Say whether a party can be served beside those booked, in several winds; nothing is kept."""
        at, sent = self.station(station), self.body(AskingParty)
        if not sent["starts_at"] < sent["ends_at"] <= sent["starts_at"] + LONGEST_OUTING:
            raise queries.UnableToSay.at("ends_at", "Enter an end after the start, within twelve hours.")
        riders = tuple(Rider(**rider) for rider in sent.pop("riders"))
        wish = queries.Wish(**sent, riders=riders)
        return self.say(PromiseShape, queries.promise(at, wish, now=clock.now()))


class Plans(Endpoint):
    """Plans of a station."""

    @operation("list_plans", PlanShape, many=True, query=PlanQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List plans, the newest first."""
        asked = self.query(PlanQuery)
        found = Plan.objects.filter(station=self.station(station)).defer("inputs", "result", "changes")
        wanted = {name: asked[name] for name in ("day", "state") if name in asked}
        return self.page(PlanShape, found.filter(**wanted).select_related("station"), "-asked_at", asked)

    @operation("ask_for_plan", PlanWhole, status=HTTPStatus.CREATED, body=Asking, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Ask for a plan of the rest of a day. A worker solves it: look again until it is ready."""
        at, now = self.station(station), clock.now()
        day = self.body(Asking).get("day", at.local(now).date())
        plan = services.ask_for_plan(
            actor=request.actor, station_id=at.pk, day=day, once=self.once(), now=now
        )
        return whole(self, plan.pk, HTTPStatus.CREATED)


class OnePlan(Endpoint):
    """One plan."""

    @operation("get_plan", PlanWhole)
    def get(self, request: Asked, plan_id: int) -> Response:
        """Return a plan laid out."""
        return whole(self, plan_id)


class PlanPapers(Endpoint):
    """What a plan was asked and what came of it."""

    @operation("get_plan_papers", Papers)
    def get(self, request: Asked, plan_id: int) -> Response:
        """Return instance and plan as they are kept."""
        plan = queries.visible_plan(request.actor, plan_id)
        papers = {"formulas": plan.formulas, "instance": plan.inputs, "plan": plan.result}
        return self.say(Papers, papers)


class AcceptPlan(Endpoint):
    """Putting a plan in force."""

    @operation("accept_plan", PlanWhole, once=True)
    def post(self, request: Asked, plan_id: int) -> Response:
        """Hold and card the kit of every outing of a plan, all or nothing."""
        services.accept_plan(actor=request.actor, plan_id=plan_id, once=self.once(), now=clock.now())
        return whole(self, plan_id)


class CancelPlan(Endpoint):
    """Giving a plan up."""

    @operation("cancel_plan", PlanWhole)
    def post(self, request: Asked, plan_id: int) -> Response:
        """Give up a plan that is being made or waits for acceptance."""
        services.cancel_plan(actor=request.actor, plan_id=plan_id, now=clock.now())
        return whole(self, plan_id)


class AdjustPlan(Endpoint):
    """Another sail for one rider."""

    pointers: ClassVar = {"outing": "/outing_id"}

    @operation("adjust_plan", PlanWhole, status=HTTPStatus.CREATED, body=Adjusting, once=True)
    def post(self, request: Asked, plan_id: int) -> Response:
        """Ask for a ready plan once more with another sail for one rider; its cost is told beside it."""
        made = services.adjust_plan(
            actor=request.actor, plan_id=plan_id, **self.body(Adjusting), once=self.once(), now=clock.now()
        )
        return whole(self, made.pk, HTTPStatus.CREATED)


class TickRig(Endpoint):
    """Ticking a rig off."""

    @operation("tick_rig", TaskShape, body=Ticking)
    def post(self, request: Asked, task_id: int) -> Response:
        """Tick a rig off as built, or take the tick back; the same tick twice changes nothing."""
        services.tick_rig(
            actor=request.actor, task_id=task_id, ticked=self.body(Ticking)["built"], now=clock.now()
        )
        task = queries.task(task_id)
        self.on_clock_of(task.plan.station)
        return self.say(TaskShape, task)


def whole(endpoint: Endpoint, plan_id: int, status: int = HTTPStatus.OK) -> Response:
    """Answer with a plan laid out, on its station's clock: four queries."""
    plan = queries.visible_plan(endpoint.request.actor, plan_id)
    endpoint.on_clock_of(plan.station)
    laid = queries.laid_out(plan)
    said: dict[str, Any] = {
        name: getattr(laid, name, empty)
        for name, empty in (
            ("quality", ""),
            ("riders", ()),
            ("short", ()),
            ("rigs", ()),
            ("aside", ()),
            ("cost", None),
        )
    }
    known = {name: getattr(plan, name) for name in PlanShape._declared_fields if name != "station"}
    return endpoint.say(
        PlanWhole,
        {**known, "station": plan.station, **said, "changes": plan.changes, "tasks": queries.tasks_of(plan)},
        status,
    )
