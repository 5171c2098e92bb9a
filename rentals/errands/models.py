"""Errands: what was asked for, how far it is, and what came of it."""

from datetime import datetime

from django.db import models
from django.db.models import Q

from rentals.errands.states import UNDER_WAY, ErrandState
from rentals.lib.access import Act, Actor
from rentals.people.models import User
from rentals.stations.models import Station


class ErrandKind(models.TextChoices):
    """What a worker does for somebody."""

    TAKE_SHED = "take shed", "Taking the sheet of the shed in"
    GIVE_ENTRIES = "give entries", "Writing the ledger's entries"
    LOAD_DEMO = "load demo", "Loading the demo"
    REMOVE_DEMO = "remove demo", "Removing the demo"

    @property
    def act(self) -> Act:
        """What whoever asks for it must be allowed."""
        return {
            ErrandKind.TAKE_SHED: Act.EDIT_SHED,
            ErrandKind.GIVE_ENTRIES: Act.TAKE_PAYMENT,
        }.get(self, Act.SET_STATION)


class ErrandQuerySet(models.QuerySet["Errand"]):
    """Reading errands."""

    def visible_to(self, actor: Actor) -> "ErrandQuerySet":
        """Errands of the actor's stations."""
        return self.filter(station_id__in=actor.station_ids)

    def to_do(self, kind: str, stale_before: datetime) -> "ErrandQuerySet":
        """Errands of a kind that nobody is at, or whose worker has not been heard of since; oldest first."""
        dead = Q(state=ErrandState.WORKING, heartbeat_at__lt=stale_before)
        waiting = self.filter(Q(state=ErrandState.WAITING) | dead, kind=kind)
        return waiting.select_related("made_by").order_by("asked_at", "id")

    def alive(self) -> "ErrandQuerySet":
        """Errands that are under way or done, not called off and not failed."""
        return self.exclude(state__in=[ErrandState.CANCELLED, ErrandState.FAILED])


class Errand(models.Model):
    """Something asked for that takes a while. `asked` is what it works on, `result` what it left."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=20, choices=ErrandKind.choices)
    state = models.CharField(
        max_length=10,
        choices=[(state.value, state.value) for state in ErrandState],
        default=ErrandState.WAITING,
    )
    made_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    asked = models.JSONField()
    heartbeat_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    progress = models.PositiveSmallIntegerField(default=0)
    words = models.CharField(max_length=300)
    result = models.JSONField(null=True)
    done_at = models.DateTimeField(null=True)

    objects = ErrandQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["station", "kind", "-asked_at"], name="errand_newest"),)
        constraints = (
            models.CheckConstraint(
                name="errand_state", condition=Q(state__in=[state.value for state in ErrandState])
            ),
            models.CheckConstraint(name="errand_kind", condition=Q(kind__in=ErrandKind.values)),
            models.CheckConstraint(name="errand_progress", condition=Q(progress__lte=100)),
            models.CheckConstraint(
                name="errand_done_has_result",
                condition=~Q(state="done") | Q(result__isnull=False, done_at__isnull=False),
            ),
            models.UniqueConstraint(
                fields=["station", "kind"],
                condition=Q(state__in=[state.value for state in UNDER_WAY]),
                name="one_errand_of_a_kind",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()} ({self.state})"

    @property
    def is_under_way(self) -> bool:
        """Whether it is not over yet."""
        return self.state in UNDER_WAY
