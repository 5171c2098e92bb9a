"""The list in force for a check, and what a version changed."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from rentals.checklists.models import Check, CheckList
from rentals.stations.models import Station
from rigging import checks
from rigging.checks.lists import Lines
from rigging.levels import Level

USUAL = {Check.LAUNCH: checks.LAUNCH, Check.RETURN: checks.RETURN}
"""Lists before a station has made one of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ListLine:
    """One thing to look at: for a kind of item or the rider, for all levels or some."""

    key: str
    kind: str
    text: str
    levels: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class InForce:
    """A list as it stands. Version nought is the usual one, which no station has edited."""

    check: str
    version: int
    lines: tuple[ListLine, ...]
    by: str = ""
    at: datetime | None = None

    def points(self, kinds: Collection[str], level: str) -> Lines:
        """Return the points for an outing's kinds of item and its rider's level, in the list's order."""
        wanted = {*(kind.replace("_", " ") for kind in kinds), "rider"}
        return tuple(
            (line.key, line.text)
            for line in self.lines
            if line.kind in wanted and (not line.levels or level in line.levels)
        )

    def about(self, kind: str, level: str) -> tuple[str, ...]:
        """Return what to look at on one kind of item, or on the rider, for a level."""
        wanted = kind.replace("_", " ")
        return tuple(
            line.text
            for line in self.lines
            if line.kind == wanted and (not line.levels or level in line.levels)
        )

    def since(self, before: "InForce") -> frozenset[str]:
        """Return keys whose line is new or reads otherwise than in another version."""
        known = {line.key: line.text for line in before.lines}
        return frozenset(line.key for line in self.lines if known.get(line.key) != line.text)


def usual(check: str) -> InForce:
    """Return the list that a station begins with."""
    lines = (
        ListLine(key=key, kind=kind, text=text)
        for kind, points in USUAL[Check(check)].items()
        for key, text in points
    )
    return InForce(check, 0, tuple(lines))


def in_force(station: Station, check: str) -> InForce:
    """Return the newest version of a list: one query."""
    rows = CheckList.objects.filter(station=station, check_for=check).select_related("by")
    newest = rows.order_by("-version").first()
    return usual(check) if newest is None else _stored(newest)


def version_of(station: Station, check: str, version: int) -> InForce:
    """Return an older version of a list, the usual one where there is none of that number: one query."""
    row = (
        CheckList.objects.filter(station=station, check_for=check, version=version)
        .select_related("by")
        .first()
    )
    return usual(check) if row is None else _stored(row)


def history(station: Station, check: str) -> list[CheckList]:
    """Return the versions of a list, newest first: one query."""
    rows = CheckList.objects.filter(station=station, check_for=check).select_related("by")
    return list(rows.order_by("-version"))


LEVELS = tuple(level.value for level in Level)


def _stored(row: CheckList) -> InForce:
    lines = tuple(
        ListLine(key=line["key"], kind=line["kind"], text=line["text"], levels=tuple(line["levels"]))
        for line in row.lines
    )
    return InForce(row.check_for, row.version, lines, row.by.shown_name, row.at)
