"""Lives as tables and charts."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from rentals.lib import charts
from rentals.lib.tables import Table, Tag, Value, shown
from rentals.review.mapping.figures import Figure
from rentals.review.mapping.life import ModelLife
from rigging import wear
from rigging.drawing.life import life_svg

POINTS: Final = 41
PER_H: Final = 1000
BEYOND: Final = 1.1
"""How far past the oldest item the hazard is drawn: beyond, the model alone would speak. Status: policy."""


def lives_table(lives: Sequence[ModelLife]) -> Table:
    """Return each model with its records, its life with limits, and what the next season is to bring."""
    return Table(
        name="lives",
        title="Life of each model",
        columns=(
            "Model",
            "Kind",
            "Items",
            "Records",
            "Faults",
            "Borrowed (%)",
            "Half had a fault by (h)",
            "Half, lower limit",
            "Half, upper limit",
            "Faults per 1,000 h now",
            "Now, lower limit",
            "Now, upper limit",
            "Faults next season",
            "Season, lower limit",
            "Season, upper limit",
            "Replace or retire at (h)",
        ),
        rows=tuple(_life_row(each) for each in lives),
    )


def _life_row(each: ModelLife) -> tuple[Value, ...]:
    plan = each.replacement
    return (
        each.model.name,
        each.model.kind.replace("_", " "),
        len(each.in_service),
        each.count,
        each.failures,
        None if each.life is None else 100 * each.life.borrowed,
        *_limits(each.half_by),
        *_limits(each.hazard, PER_H),
        *_limits(each.expected),
        None if plan is None or plan.age_h is None else plan.age_h,
    )


def _limits(found: wear.Estimate | None, factor: float = 1.0) -> tuple[Value, Value, Value]:
    if found is None:
        return None, None, None
    return factor * found.value, factor * found.low, factor * found.high


def hazard_figure(each: ModelLife) -> Figure | None:
    """Return the faults per 1,000 hours by age, with limits, as far as the records reach."""
    if each.life is None:
        return None
    oldest = BEYOND * max([each.life.longest_h, *(record.age_h for record in each.in_service)])
    ages = np.linspace(oldest / POINTS, oldest, POINTS).tolist()
    found = [each.life.hazard_per_h(age) for age in ages]
    rows = [(age, *_limits(at, PER_H)) for age, at in zip(ages, found, strict=True)]
    rising = each.life.shape_limits()
    words = (
        "grows with age"
        if rising[0] > 1
        else "falls with age"
        if rising[1] < 1
        else "may rise or fall with age"
    )
    table = Table(
        name="hazard",
        title=f"Faults by age: {each.model.name}",
        columns=("Age (h)", "Faults per 1,000 h", "Lower limit", "Upper limit"),
        rows=tuple(rows),
        says=f"The rate of faults {words}: {each.failures} faults in {each.count} records "
        f"(shape {each.life.shape:.1f}, {rising[0]:.1f} to {rising[1]:.1f}).",
    )
    along, middle, low, high = (list(column) for column in zip(*rows, strict=True))
    spec = charts.band(along, middle, low, high, along_unit="age (h)", unit="faults per 1,000 h")
    return Figure(table=table, spec=spec)


def items_table(each: ModelLife) -> Table:
    """Return the items in service, the oldest first, each with its remaining life and its risk."""
    rows = tuple(
        (
            Tag(one.record.item.tag),
            one.record.age_h,
            len(one.record.faults_h),
            one.remaining.value,
            _span(one.remaining),
            100 * one.risk.value,
            _span(one.risk, 100),
            "past the age to replace" if one.past_age else "",
        )
        for one in each.outlooks()
    )
    return Table(
        name="items",
        title="Items in service",
        columns=(
            "Item",
            "Age (h)",
            "Faults",
            "Half last another (h)",
            "Limits (h)",
            "Fault next season (%)",
            "Limits (%)",
            "Note",
        ),
        rows=rows,
        when_empty="None is in service.",
    )


def _span(found: wear.Estimate, factor: float = 1.0) -> str:
    return f"{shown(factor * found.low)} to {shown(factor * found.high)}"


def life_drawing(each: ModelLife) -> str:
    """Return the life drawn: survival to the first fault with limits, the records alone, the shed's ages."""
    if each.life is None or each.known is None:
        return ""
    known = each.known
    observed = wear.kaplan_meier(known.hours, known.failed, known.entry_hours) if known.failures else None
    if observed is not None and not each.renewed:
        # The product limit counts each item once; of items that fail again the summed hazard speaks.
        observed = replace(observed, survival=np.exp(-observed.cumulative_hazard))
    ages = [record.age_h for record in each.in_service]
    return life_svg(
        each.life,
        observed,
        ages_h=ages,
        replacement=each.replacement,
        title="Share without a fault, by age",
    )
