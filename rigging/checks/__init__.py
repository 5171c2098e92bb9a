"""Checks before, during and after an outing: launch gates, check lists, overdue phases."""

from rigging.checks.facts import (
    ALWAYS_HARD,
    HARD_GATES,
    GateLimits,
    KitItem,
    LaunchFacts,
    aid_needed_n,
    suit_needed_mm,
)
from rigging.checks.launch import CAUTION, Gate, gates, lightning_hold_ends, may_launch, too_much_wind
from rigging.checks.lists import LAUNCH, RETURN, checklist
from rigging.checks.overdue import (
    ACTIONS,
    RESCUE_FIRST,
    Conditions,
    HalvingLimits,
    Phase,
    PhaseMinutes,
    PhaseResult,
    halving,
    phase,
)

__all__ = [
    "ACTIONS",
    "ALWAYS_HARD",
    "CAUTION",
    "HARD_GATES",
    "LAUNCH",
    "RESCUE_FIRST",
    "RETURN",
    "Conditions",
    "Gate",
    "GateLimits",
    "HalvingLimits",
    "KitItem",
    "LaunchFacts",
    "Phase",
    "PhaseMinutes",
    "PhaseResult",
    "aid_needed_n",
    "checklist",
    "gates",
    "halving",
    "lightning_hold_ends",
    "may_launch",
    "phase",
    "suit_needed_mm",
    "too_much_wind",
]
