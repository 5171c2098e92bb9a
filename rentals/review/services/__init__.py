"""Setting what kit costs; reviews themselves only read."""

from rentals.review.services.costs import UnableToSetCosts, set_costs

__all__ = ["UnableToSetCosts", "set_costs"]
