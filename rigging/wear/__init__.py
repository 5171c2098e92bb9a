"""Wear: how long kit lasts by the station's own records, when to replace it, which inspections are due."""

from rigging.wear.exposure import SunSlice, Weight, sun_slices, wind_weight
from rigging.wear.groups import Estimate, GroupLife, life_of_groups
from rigging.wear.inspection import (
    DEFAULT_RULES,
    Counters,
    InspectionDue,
    InspectionRule,
    inspection_due,
    inspections,
)
from rigging.wear.intervals import FloatTest, Occasion, Planned, float_test, planned
from rigging.wear.kaplan import KaplanMeier, kaplan_meier
from rigging.wear.records import Records, records
from rigging.wear.replacement import Replacement, cost_rate, mended_age, preventive_age
from rigging.wear.weibull import WeibullLife, fit_weibull

__all__ = [
    "DEFAULT_RULES",
    "Counters",
    "Estimate",
    "FloatTest",
    "GroupLife",
    "InspectionDue",
    "InspectionRule",
    "KaplanMeier",
    "Occasion",
    "Planned",
    "Records",
    "Replacement",
    "SunSlice",
    "WeibullLife",
    "Weight",
    "cost_rate",
    "fit_weibull",
    "float_test",
    "inspection_due",
    "inspections",
    "kaplan_meier",
    "life_of_groups",
    "mended_age",
    "planned",
    "preventive_age",
    "records",
    "sun_slices",
    "wind_weight",
]
