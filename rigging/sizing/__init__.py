"""The right sail: wind windows, how a slot divides, recommendations with their reasons, boards and fins.

Windows and level limits are beach wind (head height); slots come as 10 m wind and are converted here.
Guidance for trained staff: the instructor on the beach decides.
"""

from rigging.levels import Level
from rigging.sizing.boards import (
    Range,
    Suits,
    Water,
    board_suits,
    board_volume_l,
    board_volumes_l,
    fin_length_cm,
    fin_lengths_cm,
)
from rigging.sizing.recommend import Mode, Recommendation, one_size_down, recommend
from rigging.sizing.riders import LevelPolicy, Policy, Rider
from rigging.sizing.suitability import Suitability, Veto, suitability
from rigging.sizing.window import Window, rule_area_m2, wind_window

__all__ = [
    "Level",
    "LevelPolicy",
    "Mode",
    "Policy",
    "Range",
    "Recommendation",
    "Rider",
    "Suitability",
    "Suits",
    "Veto",
    "Water",
    "Window",
    "board_suits",
    "board_volume_l",
    "board_volumes_l",
    "fin_length_cm",
    "fin_lengths_cm",
    "one_size_down",
    "recommend",
    "rule_area_m2",
    "suitability",
    "wind_window",
]
