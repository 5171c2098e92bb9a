"""Item models and items, what holds them or holds them back, and the rigs that stand built."""

import uuid
from collections.abc import Collection
from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from rentals.fleet.states import OUT_OF_USE, ItemState
from rentals.lib.access import Actor
from rentals.lib.rules import MAX_SPAN_DAYS
from rentals.stations.models import Station
from rigging.kit import BendCurve, Coupling, FinBox, Head, Joint


class Kind(models.TextChoices):
    """Kinds of item."""

    SAIL = "sail"
    MAST = "mast"
    BOOM = "boom"
    EXTENSION = "extension"
    BASE = "base"
    BOARD = "board"
    FIN = "fin"
    HARNESS = "harness"
    BUOYANCY_AID = "buoyancy_aid"
    WETSUIT = "wetsuit"
    HELMET = "helmet"


RIG_PARTS = (Kind.SAIL, Kind.MAST, Kind.BOOM, Kind.EXTENSION, Kind.BASE)
WORN = (Kind.HARNESS, Kind.BUOYANCY_AID, Kind.WETSUIT, Kind.HELMET)

NEEDS = {
    Kind.SAIL: (
        "area_m2",
        "luff_cm",
        "boom_cm",
        "imcs",
        "curve",
        "head",
        "takes_rdm",
        "takes_sdm",
        "battens",
        "cams",
    ),
    Kind.MAST: ("length_cm", "imcs", "curve", "takes_rdm", "takes_sdm"),
    Kind.BOOM: ("min_cm", "max_cm", "takes_rdm", "takes_sdm", "shim"),
    Kind.EXTENSION: ("min_cm", "max_cm", "step_cm", "takes_rdm", "takes_sdm", "coupling"),
    Kind.BASE: ("height_cm", "coupling", "joint"),
    Kind.BOARD: ("volume_l", "width_cm", "sail_min_m2", "sail_max_m2", "fin_box", "daggerboard"),
    Kind.FIN: ("length_cm", "fin_box"),
    Kind.BUOYANCY_AID: ("buoyancy_n", "size"),
    Kind.WETSUIT: ("thickness_mm", "size"),
    Kind.HARNESS: ("size",),
    Kind.HELMET: ("size",),
}


RANGES = {
    "area_m2": (0.8, 13.0),
    "luff_cm": (150.0, 600.0),
    "boom_cm": (80.0, 300.0),
    "length_cm": (10.0, 600.0),
    "imcs": (8.0, 45.0),
    "min_cm": (0.0, 300.0),
    "max_cm": (0.0, 300.0),
    "step_cm": (0.5, 10.0),
    "volume_l": (30.0, 400.0),
    "buoyancy_n": (20.0, 300.0),
}
"""Least and most of a model's numbers, refused beyond by the database too."""

MOST_PRICE = 99_999


def _complete(kind: Kind) -> models.CheckConstraint:
    """A model of a kind has every number that the kind needs."""
    needed = Q(**{f"{name}__isnull": False for name in NEEDS[kind]})
    return models.CheckConstraint(name=f"model_{kind.value}_complete", condition=~Q(kind=kind.value) | needed)


def _within(name: str, low: float, high: float) -> models.CheckConstraint:
    return models.CheckConstraint(
        name=f"model_{name}_range",
        condition=Q(**{f"{name}__isnull": True}) | Q(**{f"{name}__range": (low, high)}),
    )


class ItemModel(models.Model):
    """What all items of one make and size share. Lengths in cm; columns that a kind does not use are null."""

    kind = models.CharField(max_length=12, choices=Kind.choices)
    name = models.CharField(max_length=80)

    area_m2 = models.FloatField(null=True, blank=True)
    luff_cm = models.FloatField(null=True, blank=True)
    boom_cm = models.FloatField(null=True, blank=True)
    clew_height_cm = models.FloatField(null=True, blank=True)
    cutout_low_cm = models.FloatField(null=True, blank=True)
    cutout_high_cm = models.FloatField(null=True, blank=True)
    head = models.CharField(max_length=10, null=True, blank=True, choices=[(h.value, h.value) for h in Head])
    head_strap_cm = models.FloatField(null=True, blank=True)
    battens = models.PositiveSmallIntegerField(null=True, blank=True)
    cams = models.PositiveSmallIntegerField(null=True, blank=True)
    takes_rdm = models.BooleanField(null=True, blank=True)
    takes_sdm = models.BooleanField(null=True, blank=True)
    imcs = models.FloatField(null=True, blank=True)
    curve = models.CharField(
        max_length=10, null=True, blank=True, choices=[(c.value, c.value) for c in BendCurve]
    )
    length_cm = models.FloatField(null=True, blank=True)
    min_cm = models.FloatField(null=True, blank=True)
    max_cm = models.FloatField(null=True, blank=True)
    step_cm = models.FloatField(null=True, blank=True)
    shim = models.BooleanField(null=True, blank=True)
    coupling = models.CharField(
        max_length=10, null=True, blank=True, choices=[(c.value, c.value) for c in Coupling]
    )
    joint = models.CharField(
        max_length=10, null=True, blank=True, choices=[(j.value, j.value) for j in Joint]
    )
    height_cm = models.FloatField(null=True, blank=True)
    volume_l = models.FloatField(null=True, blank=True)
    width_cm = models.FloatField(null=True, blank=True)
    sail_min_m2 = models.FloatField(null=True, blank=True)
    sail_max_m2 = models.FloatField(null=True, blank=True)
    fin_box = models.CharField(
        max_length=12, null=True, blank=True, choices=[(f.value, f.value) for f in FinBox]
    )
    daggerboard = models.BooleanField(null=True, blank=True)
    buoyancy_n = models.FloatField(null=True, blank=True)
    thickness_mm = models.FloatField(null=True, blank=True)
    size = models.CharField(max_length=10, null=True, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["kind", "name"], name="model_once"),
            models.CheckConstraint(name="model_kind", condition=Q(kind__in=Kind.values)),
            *(_complete(kind) for kind in NEEDS),
            *(_within(name, low, high) for name, (low, high) in RANGES.items()),
            models.CheckConstraint(
                name="model_min_below_max",
                condition=Q(min_cm=None) | Q(max_cm=None) | Q(min_cm__lt=F("max_cm")),
            ),
            models.CheckConstraint(
                name="model_cutout",
                condition=Q(cutout_low_cm=None, cutout_high_cm=None)
                | Q(
                    cutout_low_cm__gt=0,
                    cutout_low_cm__lt=F("cutout_high_cm"),
                    cutout_high_cm__lt=F("luff_cm"),
                ),
            ),
            models.CheckConstraint(
                name="model_sail_range",
                condition=Q(sail_min_m2=None) | Q(sail_max_m2=None) | Q(sail_min_m2__lt=F("sail_max_m2")),
            ),
            models.CheckConstraint(
                name="model_takes_some_diameter",
                condition=Q(takes_rdm=None) | Q(takes_sdm=None) | Q(takes_rdm=True) | Q(takes_sdm=True),
            ),
            models.CheckConstraint(
                name="model_mast_one_diameter",
                condition=~Q(kind__in=[Kind.MAST, Kind.EXTENSION]) | ~Q(takes_rdm=F("takes_sdm")),
            ),
        )

    def __str__(self) -> str:
        return self.name


class ItemQuerySet(models.QuerySet["Item"]):
    """Reading items."""

    def visible_to(self, actor: Actor) -> "ItemQuerySet":
        """Items of the actor's stations."""
        return self.filter(station_id__in=actor.station_ids)

    def fit_to_give(self) -> "ItemQuerySet":
        """Items that may be promised: not held back, also not once they are in, on the bench or withdrawn."""
        called_back = HoldBack.objects.standing().filter(item=OuterRef("pk"))
        return self.exclude(state__in=OUT_OF_USE).filter(~Exists(called_back))

    def free_between(
        self, start: datetime, end: datetime, *, ignoring: Collection[uuid.UUID] = ()
    ) -> "ItemQuerySet":
        """Items that no live hold keeps in the half-open span, but for holds that are about to be let go.

        Not `exclude(holds__start__lt=…, holds__end__gt=…)`: over a multi-valued relation each condition finds
        a hold of its own, and an item held at 8 and at 15 would look busy at 10.
        """
        clash = Hold.objects.overlapping(start, end).filter(item=OuterRef("pk")).exclude(pk__in=ignoring)
        return self.filter(~Exists(clash))


class Item(models.Model):
    """One physical thing with a tag.

    What its papers say is null where nobody knows it: columns added with null leave the table and the
    triggers that look at it as they are on SQLite.
    """

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    model = models.ForeignKey(ItemModel, models.PROTECT, related_name="+")
    tag = models.CharField(max_length=12)
    state = models.CharField(
        max_length=10, choices=[(state.value, state.value) for state in ItemState], default=ItemState.READY
    )
    colour = models.CharField(max_length=40, blank=True)
    water_s = models.PositiveBigIntegerField(default=0)
    rig_ups = models.PositiveIntegerField(default=0)
    bought_on = models.DateField(null=True)
    made_on = models.DateField(null=True)
    serial = models.CharField(max_length=40, null=True)
    batch = models.CharField(max_length=40, null=True)
    price = models.DecimalField(max_digits=8, decimal_places=2, null=True)
    currency = models.CharField(max_length=3, null=True)

    objects = ItemQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["station", "model"], name="item_by_model"),)
        constraints = (
            models.UniqueConstraint(fields=["station", "tag"], name="item_tag_once"),
            models.CheckConstraint(
                name="item_state", condition=Q(state__in=[state.value for state in ItemState])
            ),
        )

    def __str__(self) -> str:
        return self.tag


class Cause(models.TextChoices):
    """Why an item is held back."""

    INSPECTION = "inspection", "past its inspection"
    RECALL = "recall", "called back"
    HAND = "hand", "held back by hand"


class HoldBackQuerySet(models.QuerySet["HoldBack"]):
    """Reading what holds items back."""

    def standing(self) -> "HoldBackQuerySet":
        """Those that are not lifted."""
        return self.filter(lifted_at=None)

    def visible_to(self, actor: Actor) -> "HoldBackQuerySet":
        """Those of items at the actor's stations."""
        return self.filter(item__station_id__in=actor.station_ids)


class HoldBack(models.Model):
    """One reason why an item is not given out: an inspection past due, a recall, somebody's word.

    An item on the water keeps its state until it is back; the reason waits for it.
    """

    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    cause = models.CharField(max_length=10, choices=Cause.choices)
    subject = models.CharField(max_length=80)
    text = models.CharField(max_length=300)
    since = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    lifted_at = models.DateTimeField(null=True)
    lifted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    lifted_because = models.CharField(max_length=300, blank=True)

    objects = HoldBackQuerySet.as_manager()

    class Meta:
        constraints = (
            models.CheckConstraint(name="hold_back_cause", condition=Q(cause__in=Cause.values)),
            models.UniqueConstraint(
                fields=["item", "cause", "subject"], condition=Q(lifted_at=None), name="held_back_once"
            ),
            models.CheckConstraint(
                name="hold_back_lifted_because",
                condition=Q(lifted_at=None, lifted_by=None, lifted_because="")
                | (Q(lifted_at__isnull=False, lifted_at__gte=F("since")) & ~Q(lifted_because="")),
            ),
        )
        indexes = (
            models.Index(fields=["item"], name="hold_back_standing", condition=Q(lifted_at=None)),
            models.Index(fields=["cause", "subject"], name="hold_back_by_subject"),
        )

    def __str__(self) -> str:
        return f"{self.item_id} held back: {self.text}"


class HoldQuerySet(models.QuerySet["Hold"]):
    """Reading holds."""

    def overlapping(self, start: datetime, end: datetime) -> "HoldQuerySet":
        """Live holds that meet the half-open span; a hold's bounded length bounds the look back."""
        return self.filter(
            live=True,
            starts_at__lt=end,
            ends_at__gt=start,
            starts_at__gt=start - timedelta(days=MAX_SPAN_DAYS),
        )


class Hold(models.Model):
    """An item kept over a span, turn-round included. The database refuses two live ones that meet."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    live = models.BooleanField(default=True)
    purpose = models.CharField(max_length=60)

    objects = HoldQuerySet.as_manager()

    class Meta:
        constraints = (
            models.CheckConstraint(name="hold_span", condition=Q(ends_at__gt=F("starts_at"))),
            models.CheckConstraint(
                name="hold_bounded", condition=Q(ends_at__lte=F("starts_at") + timedelta(days=MAX_SPAN_DAYS))
            ),
        )
        indexes = (
            models.Index(fields=["item", "starts_at", "ends_at"], name="hold_by_item"),
            models.Index(fields=["starts_at", "ends_at", "item", "live"], name="hold_by_start"),
        )

    def __str__(self) -> str:
        return f"{self.item_id} {self.starts_at:%Y-%m-%d %H:%M}"


class Rig(models.Model):
    """A sail put together with its parts, from when it was built until it is taken apart."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    sail = models.ForeignKey(Item, models.PROTECT, related_name="+")
    mast = models.ForeignKey(Item, models.PROTECT, related_name="+")
    boom = models.ForeignKey(Item, models.PROTECT, related_name="+")
    extension = models.ForeignKey(Item, models.PROTECT, related_name="+")
    base = models.ForeignKey(Item, models.PROTECT, related_name="+")
    built_at = models.DateTimeField()
    derigged_at = models.DateTimeField(null=True)

    class Meta:
        constraints = (
            *(
                models.UniqueConstraint(
                    fields=[part.value], condition=Q(derigged_at=None), name=f"{part.value}_in_one_rig"
                )
                for part in RIG_PARTS
            ),
            models.CheckConstraint(
                name="rig_span", condition=Q(derigged_at=None) | Q(derigged_at__gte=F("built_at"))
            ),
        )

    def __str__(self) -> str:
        return f"rig of {self.sail_id}"
