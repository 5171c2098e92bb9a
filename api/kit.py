"""Kit of an outing: what could be given and why, the choice, the rig card, handing it over."""

from http import HTTPStatus
from typing import ClassVar

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.outings import OutingWhole, seen, whole
from api.schema import operation
from api.shapes import Id, In, ItemBrief, Moment, Note, Out, Reason, StoredReason
from rentals.bookings import services as bookings
from rentals.fleet.models import RIG_PARTS, WORN, Kind
from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rentals.rigs import queries, services
from rigging import checks, sizing, trim, wind

MOST_KITS = 2**31 - 1


class SlotWind(Out):
    """The wind over an outing's span."""

    mean_10_m_ms = serializers.FloatField(source="mean_ms")
    gust_10_m_ms = serializers.FloatField(source="gust_ms", help_text="Of the strongest hour.")
    lull_10_m_ms = serializers.FloatField(source="lull_ms", help_text="Of the weakest hour.")
    beach_mean_ms = serializers.FloatField(help_text="At head height.")
    beach_gust_ms = serializers.FloatField()
    from_deg = serializers.FloatField(allow_null=True)
    density_kg_m3 = serializers.FloatField()
    covered_minutes = serializers.FloatField()
    slot_minutes = serializers.FloatField()
    missing = serializers.ListField(
        child=serializers.ListField(child=Moment()), help_text="Spans of which no wind is known."
    )
    gust_assumed = serializers.BooleanField(help_text="A gust was estimated from the mean.")
    reasons = Reason(many=True)


class Window(Out):
    """Beach winds at which a sail starts to work, is at its best, and becomes too much."""

    beach_under_ms = serializers.FloatField()
    beach_ideal_ms = serializers.FloatField()
    beach_over_ms = serializers.FloatField()


class RigParts(Out):
    """What a sail is rigged with."""

    mast = ItemBrief()
    boom = ItemBrief()
    extension = ItemBrief()
    base = ItemBrief()


class SailOffer(Out):
    """A model of sail for the rider: how the slot divides, what forbids it, what rigs it. Best first."""

    item = ItemBrief()
    area_m2 = serializers.FloatField(source="advice.sail.area_m2")
    free_units = serializers.IntegerField(source="free")
    fits = serializers.BooleanField(help_text="Nothing forbids it and the shed can rig it.")
    mode = serializers.ChoiceField([mode.value for mode in sizing.Mode], source="advice.mode")
    under = serializers.FloatField(source="advice.under", help_text="Share of the time underpowered.")
    powered = serializers.FloatField(source="advice.powered")
    over = serializers.FloatField(source="advice.over")
    window = Window(source="advice.window")
    vetoes = Reason(many=True, source="advice.vetoes")
    reasons = Reason(many=True, source="advice.reasons")
    rig = RigParts(allow_null=True)
    parts_reason = serializers.CharField(help_text="Why these parts, or why none.")


class BoardOffer(Out):
    """A model of board for the rider."""

    item = ItemBrief()
    volume_l = serializers.FloatField(source="item.model.volume_l")
    suits = serializers.BooleanField(source="suits.ok")
    reasons = Reason(many=True, source="suits.reasons")


class Spares(Out):
    """Parts free at that time."""

    mast = ItemBrief(many=True)
    boom = ItemBrief(many=True)
    extension = ItemBrief(many=True)
    base = ItemBrief(many=True)


class Worn(Out):
    """What is worn, the size that should fit first."""

    harness = ItemBrief(many=True)
    buoyancy_aid = ItemBrief(many=True)
    wetsuit = ItemBrief(many=True)
    helmet = ItemBrief(many=True)


class Offers(Out):
    """Everything that can be chosen for an outing."""

    slot = SlotWind(allow_null=True)
    no_wind = serializers.CharField(help_text="What to do where no forecast covers the time; else empty.")
    shore = serializers.ChoiceField([shore.value for shore in wind.Shore], allow_null=True)
    sails = SailOffer(many=True)
    smaller = SailOffer(allow_null=True, help_text="One size down, for when it blows up.")
    boards = BoardOffer(many=True)
    fins = ItemBrief(many=True)
    spares = Spares()
    worn = Worn()
    caution = serializers.CharField(default=checks.CAUTION)


class Setting(Out):
    """One number to set."""

    name = serializers.CharField()
    value = serializers.FloatField()
    unit = serializers.CharField()
    tolerance = serializers.FloatField()
    reason = StoredReason(source="*")


class Tuning(Out):
    """Downhaul and outhaul for one end of the window, over light and over neutral."""

    band = serializers.ChoiceField([band.value for band in trim.Band])
    downhaul_cm = serializers.FloatField()
    outhaul_cm = serializers.FloatField()


class ChosenSail(Out):
    """The sail as it was advised when the card was made."""

    sail = serializers.CharField()
    area_m2 = serializers.FloatField()
    mode = serializers.ChoiceField([mode.value for mode in sizing.Mode])
    under = serializers.FloatField()
    powered = serializers.FloatField()
    over = serializers.FloatField()
    vetoes = serializers.ListField(child=serializers.CharField())
    reasons = StoredReason(many=True)
    parts_reason = serializers.CharField()


class CardShape(Out):
    """A rig card: the settings of one rig for one outing, with the reason of every number."""

    kit_no = serializers.IntegerField()
    made_at = Moment()
    tags = serializers.DictField(child=serializers.CharField(), source="inputs.tags", help_text="By part.")
    settings = Setting(many=True, source="settings.numbers")
    band = serializers.ChoiceField([band.value for band in trim.Band], source="settings.band")
    tunings = Tuning(many=True, source="settings.tunings")
    look_for = serializers.ListField(child=serializers.CharField(), source="settings.look_for")
    warnings = serializers.ListField(child=serializers.CharField(), source="settings.warnings")
    choice = ChosenSail()
    override_reason = serializers.CharField()
    formulas = serializers.CharField(help_text="Version of the formulas.")
    steps = serializers.ListField(child=serializers.CharField(), default=lambda: list(trim.steps()))
    caution = serializers.CharField(default=checks.CAUTION)


class ChosenParts(In):
    """Parts of the rig, only where they are not to be the best fit."""

    mast = Id(required=False)
    boom = Id(required=False)
    extension = Id(required=False)
    base = Id(required=False)


class ChosenWorn(In):
    """What is worn from the shed."""

    harness = Id(required=False)
    buoyancy_aid = Id(required=False)
    wetsuit = Id(required=False)
    helmet = Id(required=False)


class KitChoice(In):
    """A sail and a board by item; the rest where wanted."""

    sail_id = Id()
    board_id = Id()
    parts = ChosenParts(default=dict)
    worn = ChosenWorn(default=dict)
    override_reason = Note(help_text="Needed against the advice; it goes into the journal.")


class KitNo(In):
    """Which kit is meant, so that one swapped meanwhile is not taken for it."""

    kit_no = serializers.IntegerField(min_value=0, max_value=MOST_KITS)


class OfferedKit(Endpoint):
    """What an outing could be given."""

    @operation("get_offers", Offers)
    def get(self, request: Asked, outing_id: int) -> Response:
        """Say what an outing could be given, sails and boards with their reasons, best first."""
        return self.say(Offers, queries.offers(seen(self, outing_id), now=clock.now()))


class ChosenKit(Endpoint):
    """The kit of an outing."""

    pointers: ClassVar = {
        "sail": "/sail_id",
        "board": "/board_id",
        **{kind.value: f"/parts/{kind.value}" for kind in RIG_PARTS if kind is not Kind.SAIL},
        **{kind.value: f"/worn/{kind.value}" for kind in WORN},
    }

    @operation("choose_kit", CardShape, status=HTTPStatus.CREATED, body=KitChoice, once=True)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Hold a whole kit for an outing, in place of what it had, and make its rig card."""
        outing, choice, once = seen(self, outing_id), self.body(KitChoice), self.once()
        for named in ("parts", "worn"):
            choice[named] = {Kind(kind): item_id for kind, item_id in choice[named].items()}
        card = services.kit_outing(
            actor=request.actor,
            outing_id=outing.pk,
            choice=services.Choice(**choice),
            once=once,
            now=clock.now(),
        )
        return self.say(CardShape, card, HTTPStatus.CREATED)


class RigCard(Endpoint):
    """The rig card of an outing."""

    @operation("get_card", CardShape)
    def get(self, request: Asked, outing_id: int) -> Response:
        """Return the rig card in force."""
        card = queries.card_of(seen(self, outing_id))
        if card is None:
            raise NotVisible("There is no rig card yet. Choose the kit first.")
        return self.say(CardShape, card)


class Issue(Endpoint):
    """Handing kit over."""

    @operation("issue_kit", OutingWhole, body=KitNo)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Hand the kit to the rider; the same kit twice changes nothing."""
        bookings.issue_kit(actor=request.actor, outing_id=outing_id, **self.body(KitNo), now=clock.now())
        return whole(self, outing_id)
