"""Setting what kit costs, and noting ages at faults; reviews themselves only read."""

from rentals.review.services.ages import note_ages
from rentals.review.services.costs import UnableToSetCosts, set_costs

__all__ = ["UnableToSetCosts", "note_ages", "set_costs"]
