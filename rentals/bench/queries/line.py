"""An item's life on one line: hours by day, checks, faults, repairs and incidents, drawn and in words."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from rentals.bench.models import WearPosting
from rentals.bench.queries.items import TELLING, ItemLife
from rentals.stations.models import Station
from rigging.drawing.itemlife import Kind, Mark, Used, described, item_life_svg

SECOND_H = 1 / 3600


@dataclass(frozen=True, slots=True)
class Event:
    """A mark of the line and what it says."""

    mark: Mark
    words: str


@dataclass(frozen=True, slots=True)
class LifeLine:
    """The line drawn, and the same in words."""

    drawing: str
    says: str
    events: tuple[Event, ...]


def life_line(life: ItemLife, station: Station, *, today: date) -> LifeLine:
    """Return an item's life on one line: one query.

    It begins when the item was bought, or with the first thing on record.
    """
    item = life.item
    used = _used(life, station)
    events = sorted(_events(life, station), key=lambda each: each.mark.day)
    marks = [each.mark for each in events]
    days = [*(each.day for each in used), *(each.day for each in marks)]
    last = max([today, *days])
    first = min([last - timedelta(days=1), *days, *([item.bought_on] if item.bought_on else [])])
    before = max(item.water_s * SECOND_H - sum(each.hours for each in used), 0.0)
    hours = before + sum(each.hours for each in used)
    return LifeLine(
        drawing=item_life_svg(first, last, used, marks, hours_before=before, title=f"Life of {item.tag}"),
        says=described(first, last, hours, marks),
        events=tuple(events),
    )


def _used(life: ItemLife, station: Station) -> Sequence[Used]:
    posted = WearPosting.objects.filter(item=life.item).values_list("outing__starts_at", "water_s")
    by_day: defaultdict[date, int] = defaultdict(int)
    for at, seconds in posted:
        by_day[station.local(at).date()] += seconds
    return [Used(day, seconds * SECOND_H) for day, seconds in sorted(by_day.items())]


def _events(life: ItemLife, station: Station) -> Iterator[Event]:
    def event(at: datetime, kind: Kind, words: str) -> Event:
        return Event(Mark(station.local(at).date(), kind), words)

    incidents = {each.at: each.text for each in life.entries if each.act in TELLING}
    for at, text in incidents.items():
        yield event(at, Kind.INCIDENT, text)
    for record in life.inspections:
        result = "passed" if record.passed else record.defects
        yield event(record.at, Kind.CHECK, f"{record.name}: {result}")
    for job in life.jobs:
        # The job that an incident opens is the incident itself.
        if job.opened_at not in incidents:
            yield event(job.opened_at, Kind.FAULT, job.fault)
        if job.mended_at is not None:
            yield event(job.mended_at, Kind.REPAIR, job.work)
