"""Editing a station's check lists: each edit is the next version."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from rentals.audit import services as journal
from rentals.checklists import queries
from rentals.checklists.models import Check, CheckList
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, NotVisible, Refused
from rentals.lib.writes import write
from rentals.stations.models import Station

MOST_LINES = 120
TEXT, WHY = 200, 300


class UnableToKeepList(Refused):
    """A list that does not hold together."""

    slug = "check-list-refused"
    title = "Check the list"


class ListMovedOn(Conflict):
    """Somebody made another version meanwhile."""

    slug = "check-list-version"
    title = "The list has changed meanwhile"


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A line as it is written; without a key it is new."""

    kind: str
    text: str
    levels: tuple[str, ...] = ()
    key: str = ""


@write
def keep_list(
    *,
    actor: Actor,
    station_id: int,
    check: str,
    lines: Sequence[Written],
    version: int,
    why: str = "",
    now: datetime,
) -> CheckList:
    """Keep a list as the next version; checks logged against earlier ones keep their wording.

    Args:
        actor: a manager.
        station_id, check: which list.
        lines: all of it in order. A line keeps its key while it means the same; a removed key never returns.
        version: the one that was read.
        why: what is changed and why.
        now: the moment.

    Raises:
        UnableToKeepList: an empty line, an unknown kind or level, nothing left for the rider, no change.
        ListMovedOn: a newer version than the one read.
    """
    actor.require(Act.EDIT_LISTS, station_id=station_id)
    station = Station.objects.select_for_update().filter(pk=station_id).first()
    if station is None or check not in Check.values:
        raise NotVisible("There is no such list here.")
    before = queries.in_force(station, check)
    if before.version != version:
        raise ListMovedOn(
            f"{before.by} made version {before.version} meanwhile. Look at it, then make your changes again."
        )
    _refuse_what_is_off(before, lines)
    kept = [asdict(line) for line in _keyed(before, lines)]
    if kept == [asdict(line) for line in before.lines]:
        raise UnableToKeepList("Nothing differs from the list in force.")
    row = CheckList.objects.create(
        station=station,
        check_for=check,
        version=before.version + 1,
        at=now,
        by_id=actor.person_id,
        why=why.strip()[:WHY],
        lines=kept,
    )
    text = f"Version {row.version} of the {row.get_check_for_display()} list, {len(kept)} lines"
    line = journal.Line("station", station.pk, f"{text}. {row.why}".strip(), {"version": row.version})
    journal.record(actor=actor, act=Act.EDIT_LISTS, station_id=station.pk, lines=[line], now=now)
    return row


def _refuse_what_is_off(before: queries.InForce, lines: Sequence[Written]) -> None:
    kinds, keys = set(queries.USUAL[Check(before.check)]), {line.key for line in before.lines}
    wrong: dict[str, str] = {}
    for number, line in enumerate(lines):
        if not line.text.strip() or len(line.text) > TEXT:
            wrong[f"lines.{number}.text"] = f"Enter what to look at, in at most {TEXT} characters."
        if line.kind not in kinds:
            wrong[f"lines.{number}.kind"] = f"Choose one of {', '.join(sorted(kinds))}."
        if not set(line.levels) <= set(queries.LEVELS):
            wrong[f"lines.{number}.levels"] = f"Choose among {', '.join(queries.LEVELS)}."
        if line.key and line.key not in keys:
            wrong[f"lines.{number}.key"] = "That line is not in the list. Leave the key out for a new one."
    given = [line.key for line in lines if line.key]
    if len(given) != len(set(given)):
        wrong["lines"] = "A line stands there twice."
    if not any(line.kind == "rider" and not line.levels for line in lines):
        wrong["lines"] = "Keep at least one line about the rider, for all levels."
    if len(lines) > MOST_LINES:
        wrong["lines"] = f"Enter at most {MOST_LINES} lines."
    if wrong:
        raise UnableToKeepList(next(iter(wrong.values())), fields=wrong)


def _keyed(before: queries.InForce, lines: Sequence[Written]) -> list[queries.ListLine]:
    """Give new lines a key of the version that brings them, so that no key ever means two things."""
    return [
        queries.ListLine(
            key=line.key or f"{line.kind.split()[0]}.v{before.version + 1}.{number}",
            kind=line.kind,
            text=" ".join(line.text.split()),
            levels=tuple(level for level in queries.LEVELS if level in line.levels),
        )
        for number, line in enumerate(lines)
    ]
