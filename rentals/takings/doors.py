"""What pages of rooms below may show of money: the passes of a rider and what is left on them."""

from django import template

from rentals.people.models import Rider
from rentals.takings import queries

register = template.Library()


@register.simple_tag
def passes_held(rider: Rider) -> list[queries.PassLeft]:
    """Return the passes that a rider holds, the one that ends first first: one query."""
    return queries.passes_of([rider.pk])
