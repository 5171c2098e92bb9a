"""Planned inspections by kind of item: weekly, periodic and renewals, with what each looks at."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from rigging.reason import COMMON_PRACTICE, Input, Reason
from rigging.units import BadValue, in_range
from rigging.wear.inspection import DEFAULT_RULES, InspectionRule


class Occasion(StrEnum):
    """When kit is inspected besides before each use, which the launch check logs."""

    WEEKLY = "weekly"
    PERIODIC = "periodic"
    RENEWAL = "renewal"


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """An inspection of a kind: its rule, its occasion and the points to look at."""

    rule: InspectionRule
    occasion: Occasion
    points: tuple[str, ...]


WEEK_DAYS: Final = 7.0
"""Days between two weekly looks. Status: policy; common practice, no source."""

WEEKLY_POINTS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "mast": ("Joint clean, no sand, halves go home", "No crack, dent or soft spot when pressed"),
        "boom": (
            "Clamp closes hard and its lever is whole",
            "Tail pins lock on both sides",
            "Lines not frayed",
        ),
        "extension": ("Pin or button locks in every hole", "Pulleys turn", "Downhaul line not frayed"),
        "base": ("Tendon or joint without crack, bulge or thin waist", "Back-up strap whole and tied"),
        "harness": ("Hook and buckle whole", "Seams of the spreader bar whole"),
        "buoyancy aid": ("Seams and cloth whole", "Buckles and zip close", "Foam not hard or crumbling"),
    }
)
"""Kinds whose failure can hurt. Common practice, no source."""

PERIODIC_POINTS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "sail": (
            "Panels and seams, held against the light",
            "Monofilm: no cloudy, brittle or creased window",
            "Battens whole, tensioners hold",
            "Cams, where it has them, whole and turning on the mast",
            "Mast sleeve, head and foot not worn through",
            "Clew and tack eyelets, downhaul pulleys",
        ),
        "mast": (
            "Joint: ferrule tight, no crack around it",
            "Walls: no hairline, flat or dent over the whole length",
            "Tip and foot whole",
            "Marks for length and stiffness can be read",
        ),
        "boom": (
            "Clamp: jaws, lever and pin without crack",
            "Shim or rubber whole and of the right diameter",
            "Tail pins, clips and tubes straight and locking",
            "Grip not loose",
            "Outhaul, uphaul and harness lines",
        ),
        "extension": (
            "Pin or button and its spring",
            "Collar turns and locks in every hole",
            "Pulleys turn, no sharp edge",
            "Tube without crack or bend",
            "Downhaul line",
        ),
        "base": (
            "Tendon bent hard each way: no crack, bulge or thin waist",
            "Bolts and nut tight, plate not bent",
            "Back-up strap whole",
            "Pin or cup that locks the extension",
        ),
        "board": (
            "Hull and rails: no crack that takes water, no soft deck",
            "Mast track and its screws",
            "Foot straps, plugs and screws",
            "Fin box and daggerboard case",
            "Vent plug and leash eye",
        ),
        "fin": ("Head and box fit without play", "Edge whole, blade not split", "Screw and nut not rusted"),
        "harness": ("Hook, spreader bar and buckles", "Webbing and seams", "Quick opening opens under load"),
        "buoyancy aid": (
            "Float test: what it carries, in newtons, against its label",
            "Cloth, seams and webbing",
            "Buckles, zip and adjusters close and hold",
            "Label, size and year can be read",
        ),
        "wetsuit": ("Seams and zip", "Knees and cuffs", "Dry and clean inside"),
        "helmet": (
            "Shell: no crack or dent",
            "Straps and buckle",
            "Lining in place",
            "Year of make can be read",
        ),
    }
)
"""Common practice, no source."""

RENEWALS: Final[Mapping[str, tuple[InspectionRule, ...]]] = MappingProxyType(
    {
        "base": (InspectionRule(name="tendon renewed", every_hours=150, every_days=730),),
        "boom": (InspectionRule(name="lines renewed", every_hours=120, every_days=365),),
        "extension": (InspectionRule(name="downhaul line renewed", every_hours=60, every_days=365),),
        "harness": (InspectionRule(name="harness lines renewed", every_hours=100, every_days=365),),
    }
)
"""Tendons and lines are renewed by hours and by age, whole or not. Common practice, no source."""


def planned(kind: str) -> tuple[Planned, ...]:
    """Return the inspections of a kind of item to start from: weekly, periodic, renewals.

    Raises:
        BadValue: for a kind that is not known.
    """
    if kind not in DEFAULT_RULES:
        raise BadValue("kind", kind, "", f"one of {', '.join(DEFAULT_RULES)}")
    weekly = InspectionRule(name="weekly look", every_days=WEEK_DAYS)
    return (
        *(
            Planned(rule=weekly, occasion=Occasion.WEEKLY, points=points)
            for points in [WEEKLY_POINTS.get(kind)]
            if points is not None
        ),
        *(
            Planned(rule=rule, occasion=Occasion.PERIODIC, points=PERIODIC_POINTS[kind])
            for rule in DEFAULT_RULES[kind]
        ),
        *(
            Planned(
                rule=rule, occasion=Occasion.RENEWAL, points=(f"{rule.name.capitalize()}, old one cut up",)
            )
            for rule in RENEWALS.get(kind, ())
        ),
    )


KEPT_BUOYANCY: Final = 0.9
"""Least share of its nominal buoyancy that an aid must still carry.

Status: policy; common practice, no source.
"""

GRAVITY_MS2: Final = 9.80665
"""Standard gravity; ISO 80000-4."""


@dataclass(frozen=True, slots=True)
class FloatTest:
    """How a buoyancy aid came through its float test."""

    passed: bool
    reason: Reason


def float_test(carried_kg: float, nominal_n: float) -> FloatTest:
    """Judge a float test: the mass that an aid just carries under water, against its nominal buoyancy.

    Args:
        carried_kg: mass of the weights in water that it just keeps from sinking [kg], the weights' own
            buoyancy taken off.
        nominal_n: buoyancy by its label [N].

    Raises:
        BadValue: for numbers outside any aid's range.

    Source: weight by standard gravity (ISO 80000-4); the share that must be left is policy.
    """
    carried = in_range("carried_kg", carried_kg, "kg", 0, 60) * GRAVITY_MS2
    nominal = in_range("nominal_n", nominal_n, "N", 20, 400)
    share = carried / nominal
    passed = share >= KEPT_BUOYANCY
    return FloatTest(
        passed,
        Reason(
            text=f"It carries {carried:.0f} N of {nominal:.0f} N, {share:.0%}"
            f"{'' if passed else f'; less than {KEPT_BUOYANCY:.0%} is too little'}.",
            rule=f"at least {KEPT_BUOYANCY:.0%} of the nominal buoyancy",
            source=f"{COMMON_PRACTICE}; weight by ISO 80000-4",
            inputs=(Input("carried", carried_kg, "kg"), Input("nominal buoyancy", nominal, "N")),
        ),
    )
