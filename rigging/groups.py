"""Groups for teaching: who learns together, by language, level and mass, so that a group shares its sails."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, inf
from typing import Final

from rigging.levels import Level
from rigging.reason import COMMON_PRACTICE, POLICY, Input, Reason
from rigging.units import in_range

MASS_KG: Final = (20.0, 160.0)
MOST_STUDENTS: Final = 60
AREA_M2: Final = (0.5, 15.0)

LEVEL_KG: Final = 40.0
"""How many kilograms of difference a group would rather bear than one level. Status: policy."""

ANOTHER_GROUP_KG: Final = 1e6
"""More than all differences together: no group is split while the students fit into fewer. Status: policy."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Student:
    """Somebody to be taught: level, mass, and the language they are taught in, empty where it is all one."""

    id: str
    level: Level
    mass_kg: float
    language: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Students who learn together, the lightest of the lowest level first, and why."""

    students: tuple[Student, ...]
    reason: Reason


def suggest_groups(students: Sequence[Student], most: int) -> tuple[Group, ...]:
    """Return the fewest groups of at most `most`, each of one language, that differ least in level and mass.

    Args:
        students: in any order.
        most: students in one group, at most.

    Raises:
        BadValue: a mass or a number out of range.

    Notes:
        Within a language students stand in a row by level, then mass, and the row is cut so that the sum over
        the groups of mass range + 40 kg for each level of difference is least: dynamic programming over the
        cuts, exact for cuts of that row. Source: common practice, no source.
    """
    in_range("students", len(students), "", 0, MOST_STUDENTS)
    size = int(in_range("most in a group", most, "", 1, MOST_STUDENTS))
    by_language: defaultdict[str, list[Student]] = defaultdict(list)
    for student in students:
        in_range("mass_kg", student.mass_kg, "kg", *MASS_KG)
        by_language[student.language].append(student)
    groups: list[Group] = []
    for language in sorted(by_language):
        row = sorted(by_language[language], key=lambda each: (each.level.rank, each.mass_kg, each.id))
        groups += (_group(part, size) for part in _cut(row, size))
    return tuple(groups)


def spread_kg(group: Sequence[Student]) -> float:
    """Return how far a group is apart, in kilograms: its mass range, and 40 for each level."""
    masses, ranks = [each.mass_kg for each in group], [each.level.rank for each in group]
    return max(masses) - min(masses) + LEVEL_KG * (max(ranks) - min(ranks))


def _cut(row: Sequence[Student], most: int) -> list[Sequence[Student]]:
    """Cut a row where the parts differ least: best cost up to each place, and where its last part begins."""
    cost, begins = [0.0] + [inf] * len(row), [0] * (len(row) + 1)
    for end in range(1, len(row) + 1):
        for begin in range(max(0, end - most), end):
            here = cost[begin] + ANOTHER_GROUP_KG + spread_kg(row[begin:end])
            if here < cost[end]:
                cost[end], begins[end] = here, begin
    parts, end = [], len(row)
    while end:
        parts.append(row[begins[end] : end])
        end = begins[end]
    return parts[::-1]


def _group(part: Sequence[Student], most: int) -> Group:
    masses = [student.mass_kg for student in part]
    levels = list(dict.fromkeys(student.level.value for student in part))
    text = (
        f"{len(part)} of at most {most}: {' and '.join(levels)}, {min(masses):.0f} to {max(masses):.0f} kg"
        f"{', ' + part[0].language if part[0].language else ''}."
    )
    inputs = (
        Input("students", len(part)),
        Input("lightest", min(masses), "kg"),
        Input("heaviest", max(masses), "kg"),
    )
    rule = "fewest groups of one language, then least difference in level and mass"
    return Group(tuple(part), Reason(text, rule, f"{COMMON_PRACTICE}; {POLICY}", inputs))


STUDENTS_PER_SPARE: Final = 4
"""Students for whom one spare rig lies on the beach. Status: policy; common practice, no source."""


def spare_sizes(areas_m2: Sequence[float]) -> tuple[float, ...]:
    """Return the sail sizes that a group wants as spares: one rig for every four students begun.

    Args:
        areas_m2: the size each student sails [m²], shape (students,).

    Returns:
        Sizes [m²], the first to get first: the middle size in use, then the smallest, then the largest, and
        so on in turn.

    Raises:
        BadValue: a size or a number of students out of range.

    Notes:
        The middle size replaces what breaks for most; the smallest is wanted when the wind rises, the largest
        when it drops. Source: common practice, no source.
    """
    in_range("students", len(areas_m2), "", 0, MOST_STUDENTS)
    used = sorted(in_range("area_m2", area, "m²", *AREA_M2) for area in areas_m2)
    if not used:
        return ()
    in_turn = (used[(len(used) - 1) // 2], used[0], used[-1])
    return tuple(in_turn[number % 3] for number in range(ceil(len(used) / STUDENTS_PER_SPARE)))
