"""What to retire and what to buy, each with its reason."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

from rentals.dayplan.queries import Bought
from rentals.fleet.states import ItemState
from rentals.lib.tables import Table, Tag, Value
from rentals.review.mapping.facts import Facts
from rentals.review.mapping.figures import Figure
from rentals.review.mapping.life import ItemOutlook, ModelLife

OFTEN: Final = 4
"""Faults of an item in the months looked at from which it is listed, whatever its age. Status: policy."""


def lists(lives: Sequence[ModelLife], facts: Facts, bought: Sequence[Bought]) -> tuple[Figure, Figure]:
    """Return what to retire and what to buy."""
    return Figure(table=_retire(lives, facts)), Figure(table=_buy(lives, bought))


def _retire(lives: Sequence[ModelLife], facts: Facts) -> Table:
    faults = Counter(fault.item_id for fault in facts.faults)
    return Table(
        name="retire",
        title="To retire",
        columns=("Item", "Model", "Age (h)", "Why", _cost_head(lives)),
        rows=tuple(row for each in lives for row in _worn(each, faults)),
        says="Past the age at which keeping it costs more than a new one, or again and again on the bench.",
        when_empty="Nothing: no item is past the age of least cost or came to the bench again and again.",
    )


def _worn(each: ModelLife, faults: Counter[int]) -> Iterator[tuple[Value, ...]]:
    past = {one.record.item.pk: one for one in each.outlooks() if one.past_age}
    for record in each.in_service:
        item = record.item
        why = [*_past(each, past.get(item.pk)), *_often(faults[item.pk])]
        if why and item.state != ItemState.WITHDRAWN:
            cost = each.cost.new_cost if each.cost else None
            yield Tag(item.tag), each.model.name, record.age_h, " ".join(why), cost


def _past(each: ModelLife, one: ItemOutlook | None) -> Iterator[str]:
    plan = each.replacement
    if one is not None and plan is not None and plan.age_h is not None:
        counted = f"{each.failures} faults in {each.count} records"
        yield f"Past {plan.age_h:,.0f} h, the age of least cost by {counted}."


def _often(count: int) -> Iterator[str]:
    if count >= OFTEN:
        yield f"{count} faults in these months."


def _buy(lives: Sequence[ModelLife], bought: Sequence[Bought]) -> Table:
    costs = {each.model.name: each.cost.new_cost for each in lives if each.cost}
    gaining = [each for each in bought if each.days]
    return Table(
        name="buy",
        title="To buy",
        columns=("What", "Kind", "Riders more", "Days", "What it would have gained", _cost_head(lives)),
        rows=tuple(
            (
                each.name,
                each.kind,
                each.riders,
                len(each.days),
                each.words if each.sure else f"{each.words} Not proven in the time given.",
                costs.get(each.name),
            )
            for each in gaining
        ),
        says="By the newest study of the day plans: one unit more of each, the best first.",
        when_empty="No study of the day plans says that one unit more of anything would have helped.",
    )


def _cost_head(lives: Sequence[ModelLife]) -> str:
    money = next((each.currency for each in lives if each.currency), "")
    return f"A new one costs ({money})" if money else "A new one costs"
