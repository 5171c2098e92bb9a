"""What a windsurfer of each level can do: the lines that an instructor ticks. Common practice, no source.

Keys are stable, so that what was seen stays readable; wordings may be edited.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from rigging.checks.lists import Lines
from rigging.levels import Level

SKILLS: Final[Mapping[Level, Lines]] = MappingProxyType(
    {
        Level.TASTER: (
            ("taster.balance", "Stands on the board and turns it with the sail"),
            ("taster.uphaul", "Pulls the sail up and stands in the secure position"),
            ("taster.sail", "Sails off and lets the sail go to stop"),
            ("taster.signals", "Knows the recall signal, and stays with the board"),
        ),
        Level.BEGINNER: (
            ("beginner.steer", "Steers to a mark and back"),
            ("beginner.tack", "Tacks"),
            ("beginner.gybe", "Gybes in light wind"),
            ("beginner.upwind", "Keeps the height: comes back to where they set off"),
            ("beginner.self_rescue", "Rolls the sail and paddles home"),
            ("beginner.wind", "Says where the wind comes from and whether it is off-shore"),
        ),
        Level.IMPROVER: (
            ("improver.beach_start", "Starts from the beach"),
            ("improver.stance", "Trims the sail for more wind and sheets out in a gust"),
            ("improver.harness", "Sails in the harness"),
            ("improver.fast_tack", "Tacks without stopping"),
            ("improver.rules", "Gives way by the rules"),
            ("improver.rig", "Rigs by the card and looks the kit over"),
        ),
        Level.INTERMEDIATE: (
            ("intermediate.plane", "Planes in the harness"),
            ("intermediate.front_strap", "Uses the front strap"),
            ("intermediate.water_start", "Starts from the water"),
            ("intermediate.control", "Stays in control when it gusts"),
            ("intermediate.choose", "Chooses sail and fin for the wind"),
        ),
        Level.ADVANCED: (
            ("advanced.straps", "Planes in both straps"),
            ("advanced.carve_gybe", "Carves a gybe"),
            ("advanced.chop", "Sails in chop and small waves"),
            ("advanced.rescue", "Helps another rider home"),
        ),
        Level.EXPERT: (
            ("expert.planing_gybe", "Planes out of the gybe"),
            ("expert.waves", "Sails out through breaking waves and back"),
            ("expert.strong", "Sails in Beaufort 7 and comes back by themselves"),
        ),
    }
)
"""Lines by the level whose riders can do them: who can do all of a level's is ready for the next."""

TEXTS: Final[Mapping[str, str]] = MappingProxyType(
    {key: text for lines in SKILLS.values() for key, text in lines}
)
"""Wording by key."""


def open_lines(level: Level, seen: frozenset[str]) -> Lines:
    """Return what a rider of a level has not been seen to do yet."""
    return tuple((key, text) for key, text in SKILLS[level] if key not in seen)
