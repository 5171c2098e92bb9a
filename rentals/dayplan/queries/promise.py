"""May a party be promised its time: the day with everybody booked first, in the winds that may come."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from time import perf_counter
from typing import Any, Final

from rentals.bookings.models import Booking, Outing
from rentals.dayplan.mapping.day import DayRows, day_problem
from rentals.dayplan.queries.day import day_rows, day_stamp
from rentals.lib.problems import Refused
from rentals.lib.when import day_bounds
from rentals.people.models import Rider
from rentals.stations.models import Station
from rigging import wind
from rigging.units import KNOT_MS

WINDS: Final = {"light": 0.75, "middle": 1.0, "strong": 1.25}
"""Winds in which a promise is looked at, as shares of the forecast: about the spread of one a day ahead.
Status: policy; common practice, no source."""

ASSUMED_KN: Final = {"light": 9.0, "middle": 14.0, "strong": 20.0}
"""Winds at 10 m that are looked at where no forecast reaches. Status: policy; common practice, no source."""

PROMISE_S: Final = 3.0
"""Time limit of a promise, all winds together. Status: policy."""

STARTS_S: Final = 0.5
"""Time limit of each start that is looked at for a party. Status: policy."""


class UnableToSay(Refused):
    """Nothing can be said about a party at that time."""

    slug = "promise-refused"
    title = "Nothing can be promised yet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """A party that asks: what it wants, when, and its riders, who need not be kept yet."""

    kind: str
    starts_at: datetime
    ends_at: datetime
    riders: tuple[Rider, ...]


@dataclass(frozen=True, slots=True)
class ShortOf:
    """A rider of the party who would go short: their place in it, why, and what it would take.

    `by_wind` says that no kit would help: the wind is not for a rider of that level or mass.
    """

    place: int
    reason: str
    remedy: str
    by_wind: bool


@dataclass(frozen=True, slots=True)
class Given:
    """What a rider of the party would get, by the names of sail and board."""

    place: int
    sail: str
    board: str


@dataclass(frozen=True, slots=True)
class Outlook:
    """The party in one wind of that mean at 10 m; `sure` says that no plan would serve more of it."""

    wind: str
    share: float | None
    mean_ms: float
    sure: bool
    short: tuple[ShortOf, ...]
    given: tuple[Given, ...]

    @property
    def lacking(self) -> tuple[ShortOf, ...]:
        """Who goes short for want of kit."""
        return tuple(short for short in self.short if not short.by_wind)


@dataclass(frozen=True, slots=True)
class Promise:
    """Whether a party may be promised its time, and the mark of the day that was looked at.

    It holds when nobody lacks kit in any of the winds and nobody is kept ashore by the wind that is
    forecast; without a forecast, when each rider has a wind to sail in.
    """

    outlooks: tuple[Outlook, ...]
    forecast: bool
    stamp: str

    @property
    def holds(self) -> bool:
        """Whether the party may be promised."""
        return not (any(each.lacking for each in self.outlooks) or self.ashore)

    @property
    def ashore(self) -> frozenset[int]:
        """Places of the riders for whom the wind is wrong: the one forecast, or all that were assumed."""
        wrong = {each.wind: {short.place for short in each.short if short.by_wind} for each in self.outlooks}
        return frozenset(wrong["middle"] if self.forecast else set.intersection(*wrong.values()))

    @property
    def text(self) -> str:
        """The answer as a sentence. Staff may book against it with a reason; nobody books so from home."""
        seen = "the forecast and a quarter either side" if self.forecast else "light, middle and strong wind"
        said = [f"{each.wind} wind {len(each.lacking)}" for each in self.outlooks if each.lacking]
        parts = [f"Without a rig would be: in {', in '.join(said)}."] if said else []
        if self.ashore:
            parts.append(f"The wind is wrong for {len(self.ashore)} of the party.")
        return " ".join(parts) or f"Everybody gets a rig, in {seen}."


def promise(
    station: Station, wish: Wish, *, now: datetime, instead_of: frozenset[int] = frozenset()
) -> Promise:
    """Say whether a party can be served beside those booked, in each of the winds: nine queries.

    Args:
        station: where.
        wish: the party and its time.
        now: the moment.
        instead_of: outings that the party would give up for it.

    Raises:
        UnableToSay: the time is over or has begun.
    """
    if wish.starts_at <= now:
        raise UnableToSay.at("starts_at", "That has begun or is over. Enter a start to come.")
    stamp = day_stamp(station, station.local(wish.starts_at).date())
    rows, party = _asked(station, wish, now)
    rows = _without(rows, instead_of)
    forecast = all(rows.slot(outing) is not None for outing in party)
    winds = {name: _in_wind(rows, name, forecast=forecast) for name in WINDS}
    outlooks = _looked_at(winds, party, PROMISE_S, forecast=forecast)
    return Promise(outlooks, forecast, stamp)


def open_starts(
    station: Station, wish: Wish, starts: Sequence[datetime], *, now: datetime
) -> tuple[tuple[datetime, bool], ...]:
    """Say at which of these starts of one day the whole party is served in the middle wind: nine queries.

    A start that is open may still fail in a stronger or lighter wind: ask for the promise of the chosen one.
    """
    rows, _ = _asked(station, wish, now)
    span = wish.ends_at - wish.starts_at
    found = []
    for start in starts:
        if start <= now:
            continue
        party = _as_outings(station, replace(wish, starts_at=start, ends_at=start + span), now)
        there = replace(rows, outings=(*rows.outings[: -len(wish.riders)], *party))
        forecast = all(there.slot(outing) is not None for outing in party)
        days = {"middle": _in_wind(there, "middle", forecast=forecast)}
        (outlook,) = _looked_at(days, party, STARTS_S, forecast=forecast)
        found.append((start, not outlook.short))
    return tuple(found)


def _asked(station: Station, wish: Wish, now: datetime) -> tuple[DayRows, list[Outing]]:
    """The day's rows with the party at their end, and the party."""
    party = _as_outings(station, wish, now)
    rows = day_rows(station, station.local(wish.starts_at).date(), now=now)
    return replace(rows, outings=(*rows.outings, *party)), party


def _without(rows: DayRows, given_up: frozenset[int]) -> DayRows:
    """The day as it would be without some outings and what is held for them."""
    held = {part.hold_id for pk in given_up & rows.kit.keys() for part in rows.kit[pk].values()}
    return replace(
        rows,
        outings=tuple(outing for outing in rows.outings if outing.pk not in given_up),
        kit={pk: parts for pk, parts in rows.kit.items() if pk not in given_up},
        holds=tuple(hold for hold in rows.holds if hold.pk not in held),
    )


def _looked_at(
    winds: dict[str, DayRows], party: Sequence[Outing], seconds: float, *, forecast: bool
) -> tuple[Outlook, ...]:
    # The solver is heavy to load, and few requests need it.
    from rigging.allot.promise import promise as looked_at

    days = {name: day_problem(rows)[0] for name, rows in winds.items()}
    names = frozenset(str(outing.pk) for outing in party)
    found = []
    for each in looked_at(days, names, seconds, perf_counter).outlooks:
        day = days[each.wind]
        stocks = {unit.tag: stock.name for _, kind in day.stocks() for stock in kind for unit in stock.units}
        stocked = bool(day.sails and day.boards)
        barred = {each.id for each in day.demands if stocked and not (each.sails and each.boards)}
        slot = winds[each.wind].slot(party[0])
        short = [(_place(rider.demand), rider, rider.demand in barred) for rider in each.short]
        found.append(
            Outlook(
                wind=each.wind,
                share=WINDS[each.wind] if forecast else None,
                mean_ms=slot.mean_ms if slot else 0.0,
                sure=each.sure,
                short=tuple(
                    ShortOf(place, rider.reason.text, rider.remedy or "", by_wind)
                    for place, rider, by_wind in short
                ),
                given=tuple(
                    Given(_place(got.demand), stocks[got.sail], stocks[got.board])
                    for got in each.plan.assignments
                    if got.demand in names
                ),
            )
        )
    return tuple(found)


def _place(demand: str) -> int:
    """The rider's place in the party: `_as_outings` numbers them down from -1."""
    return -int(demand) - 1


def _as_outings(station: Station, wish: Wish, now: datetime) -> list[Outing]:
    """The party as outings that are kept nowhere, numbered down from -1."""
    booking = Booking(pk=-1, kind=wish.kind, booked_at=now)
    return [
        Outing(
            pk=-1 - place,
            station=station,
            booking=booking,
            rider=rider,
            starts_at=wish.starts_at,
            ends_at=wish.ends_at,
        )
        for place, rider in enumerate(wish.riders)
    ]


def _in_wind(rows: DayRows, name: str, *, forecast: bool) -> DayRows:
    """The day in a wind: the forecast times its share, or one that is assumed all day."""
    hours = _scaled(rows.hours, WINDS[name]) if forecast else _assumed(rows, ASSUMED_KN[name] * KNOT_MS)
    return replace(rows, hours=tuple(hours))


def _scaled(hours: Sequence[wind.Hour], share: float) -> Iterator[wind.Hour]:
    for hour in hours:
        gust = None if hour.gust_ms is None else hour.gust_ms * share
        yield replace(hour, mean_ms=hour.mean_ms * share, gust_ms=gust)


def _assumed(rows: DayRows, mean_ms: float) -> Iterator[wind.Hour]:
    """A steady wind along the shore, hour by hour; gusts as the core assumes them."""
    start, end = day_bounds(rows.day, rows.station.zone)
    along: dict[str, Any] = {"from_deg": (rows.station.seaward_deg + 90) % 360, "source": "assumed"}
    while start < end:
        yield wind.Hour(start=start, mean_ms=mean_ms, **along)
        start += timedelta(hours=1)
