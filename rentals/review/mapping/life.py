"""The shed's own records as lives: each item's age at its faults, and what a model's records say together."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Final

from rentals.fleet.models import Item, ItemModel, Kind
from rentals.fleet.states import ItemState
from rentals.review.models import ModelCost
from rigging import wear
from rigging.reason import Reason

RENEWED: Final = frozenset({Kind.BASE})
"""Kinds of which a mend changes the part that wears (the tendon or joint): they are young again after it.
All others are mended where they broke and go on at their age. Status: policy; common practice, no source."""

LEAST_FAILURES: Final = 3
"""Faults of a kind below which nothing is said of its life: their shape could be anything. Status: policy."""

LEAST_STEP_H: Final = 1 / 60
"""Faults of an item at one age, to the minute, are one failure. Status: policy."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemRecord:
    """One item's hours: when watching began, now, in the last year, and at each fault."""

    item: Item
    first_h: float
    hours: float
    year_h: float
    faults_h: tuple[float, ...]

    @property
    def in_service(self) -> bool:
        """Whether it is still used."""
        return self.item.state != ItemState.WITHDRAWN

    @property
    def renewed(self) -> bool:
        """Whether a mend makes it young."""
        return self.item.model.kind in RENEWED

    @property
    def age_h(self) -> float:
        """Hours since new, or since the last mend where that makes it young."""
        return self.hours - self.faults_h[-1] if self.renewed and self.faults_h else self.hours

    def stretches(self) -> Iterator[tuple[float, bool, float]]:
        """Yield its records: hours at the end, whether a fault ended it, hours at which watching began.

        From fault to fault; where it goes on at its age, each stretch begins at the age of the last fault,
        which is the likelihood of minimal repair (Barlow & Hunter 1960; Ascher & Feingold 1984).
        """
        entry = self.first_h
        for fault in self.faults_h:
            if fault - entry >= LEAST_STEP_H:
                yield self._stretch(entry, fault, True)
                entry = fault
        if self.hours - entry >= LEAST_STEP_H:
            yield self._stretch(entry, self.hours, False)

    def _stretch(self, entry: float, end: float, failed: bool) -> tuple[float, bool, float]:
        if self.renewed and entry > self.first_h:
            return end - entry, failed, 0.0
        return end, failed, entry


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemOutlook:
    """One item in service and what is to be expected of it."""

    record: ItemRecord
    remaining: wear.Estimate
    risk: wear.Estimate
    past_age: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ModelLife:
    """What the records of one model say; `life` is None where they are too few, and `silent` says why."""

    model: ItemModel
    records: tuple[ItemRecord, ...]
    known: wear.Records | None
    life: wear.GroupLife | None
    silent: str
    cost: ModelCost | None
    currency: str

    @property
    def renewed(self) -> bool:
        """Whether a mend makes it young."""
        return self.model.kind in RENEWED

    @property
    def in_service(self) -> tuple[ItemRecord, ...]:
        """Its items that are still used."""
        return tuple(record for record in self.records if record.in_service)

    @property
    def failures(self) -> int:
        """Faults on record."""
        return self.known.failures if self.known else 0

    @property
    def count(self) -> int:
        """Records, which are stretches from fault to fault or to today."""
        return len(self.known.hours) if self.known else 0

    @property
    def season_h(self) -> float:
        """Hours of an item in the next season: those of the last twelve months, on average."""
        return sum(record.year_h for record in self.records) / max(len(self.in_service), 1)

    @property
    def usual_age_h(self) -> float:
        """Median age of the items in service."""
        return median([record.age_h for record in self.in_service] or [0.0])

    @property
    def half_by(self) -> wear.Estimate | None:
        """Age by which half of new items have had a fault."""
        return self.life.life_h() if self.life else None

    @property
    def hazard(self) -> wear.Estimate | None:
        """Faults per hour at the usual age."""
        return self.life.hazard_per_h(self.usual_age_h) if self.life else None

    @property
    def expected(self) -> wear.Estimate | None:
        """Faults to expect in the next season."""
        if self.life is None or not self.in_service:
            return None
        ages = [record.age_h for record in self.in_service]
        return self.life.expected_failures(ages, self.season_h, mended=not self.renewed)

    @property
    def replacement(self) -> wear.Replacement | None:
        """When to replace at the least cost, where costs are set."""
        if self.life is None or self.cost is None:
            return None
        new, fault = float(self.cost.new_cost), float(self.cost.fault_cost)
        if self.renewed:
            return wear.preventive_age(self.life, new, new + fault)
        return wear.mended_age(self.life, new, fault)

    def outlooks(self) -> Iterator[ItemOutlook]:
        """Yield the items in service, the oldest first, and what is to be expected of each."""
        if self.life is None:
            return
        plan = self.replacement
        limit = plan.age_h if plan else None
        for record in sorted(self.in_service, key=lambda each: -each.age_h):
            yield ItemOutlook(
                record=record,
                remaining=self.life.remaining_h(record.age_h),
                risk=self.life.failure_probability(record.age_h, self.season_h),
                past_age=limit is not None and record.age_h >= limit,
            )

    def reasons(self) -> tuple[Reason, ...]:
        """Why each figure is what it is."""
        said = (self.half_by, self.hazard, self.expected, self.replacement)
        return tuple(each.reason for each in said if each is not None)

    def rules(self) -> tuple[str, ...]:
        """The rules behind the figures with their sources, each once."""
        return tuple(dict.fromkeys(f"{reason.rule}: {reason.source}" for reason in self.reasons()))


def lives(records: Sequence[ItemRecord], costs: Mapping[int, ModelCost]) -> tuple[ModelLife, ...]:
    """Return the life of each model, models of a kind estimated together."""
    by_model: defaultdict[ItemModel, list[ItemRecord]] = defaultdict(list)
    for record in records:
        by_model[record.item.model].append(record)
    by_kind: defaultdict[str, dict[ItemModel, wear.Records]] = defaultdict(dict)
    for model, of_model in by_model.items():
        stretches = [stretch for record in of_model for stretch in record.stretches()]
        if stretches:
            by_kind[model.kind][model] = wear.records(*map(list, zip(*stretches, strict=True)))
    currency = next((cost.currency for cost in costs.values()), "")
    estimated: dict[ItemModel, wear.GroupLife] = {}
    for groups in by_kind.values():
        estimated |= _together(groups)
    return tuple(
        ModelLife(
            model=model,
            records=tuple(of_model),
            known=by_kind[model.kind].get(model),
            life=estimated.get(model),
            silent=_silence(model, by_kind[model.kind]),
            cost=costs.get(model.pk),
            currency=currency,
        )
        for model, of_model in by_model.items()
    )


def _together(groups: Mapping[ItemModel, wear.Records]) -> dict[ItemModel, wear.GroupLife]:
    if sum(known.failures for known in groups.values()) < LEAST_FAILURES:
        return {}
    found = wear.life_of_groups({str(model.pk): known for model, known in groups.items()})
    return {model: replace(found[str(model.pk)], name=model.name) for model in groups}


def _silence(model: ItemModel, groups: Mapping[ItemModel, wear.Records]) -> str:
    """Return why nothing is said of a model, empty where something is."""
    if model not in groups:
        return "No hours on the water are on record yet."
    failures = sum(known.failures for known in groups.values())
    if failures >= LEAST_FAILURES:
        return ""
    count = sum(len(known.hours) for known in groups.values())
    kind = model.kind.replace("_", " ")
    counted = (
        f"{failures or 'no'} fault{'' if failures == 1 else 's'} in {count} record{'' if count == 1 else 's'}"
    )
    return f"Too few to say: {counted} of this kind ({kind}); {LEAST_FAILURES} faults are the least."
