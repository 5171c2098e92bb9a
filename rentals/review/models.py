"""What kit costs a station, and the hours that items had at their faults."""

from django.db import models
from django.db.models import Q

from rentals.bench.models import Job
from rentals.fleet.models import ItemModel
from rentals.stations.models import Station


class ModelCost(models.Model):
    """Costs of one model at a station, in the station's money.

    `new_cost` is paid for a new one, or for the planned change of the part that wears; `fault_cost` for one
    fault on top: mending, hours lost, a call out.
    """

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    model = models.ForeignKey(ItemModel, models.PROTECT, related_name="+")
    new_cost = models.DecimalField(max_digits=9, decimal_places=2)
    fault_cost = models.DecimalField(max_digits=9, decimal_places=2)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["station", "model"], name="model_cost_once"),
            models.CheckConstraint(
                name="model_cost_above_nothing", condition=Q(new_cost__gt=0, fault_cost__gt=0)
            ),
        )

    def __str__(self) -> str:
        return f"{self.model_id}: {self.new_cost} new"

    @property
    def currency(self) -> str:
        """The station's currency."""
        return self.station.currency


class FaultAge(models.Model):
    """What an item's postings had come to [s] when a fault was found: noted once, it never changes."""

    job = models.OneToOneField(Job, models.PROTECT, primary_key=True, related_name="+")
    posted_s = models.PositiveBigIntegerField()

    def __str__(self) -> str:
        return f"{self.job_id} at {self.posted_s} s"
