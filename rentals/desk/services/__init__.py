"""Loading the demo: stations, shed and riders, a season of history, and a day under way."""

import random
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.contrib.auth.hashers import make_password

from rentals.bookings.models import Outing
from rentals.desk import demo
from rentals.desk.services.day import Day
from rentals.desk.services.ledger import write_ledger
from rentals.desk.services.prices import sell_ahead, set_prices, take_money
from rentals.desk.services.school import school
from rentals.desk.services.season import Season
from rentals.desk.services.visitors import invite
from rentals.fleet.models import Item, ItemModel, Kind
from rentals.lib.access import Actor, System, service
from rentals.lib.problems import Refused
from rentals.lib.writes import write
from rentals.people.mapping import actor_of
from rentals.people.models import Posting, Rider, User
from rentals.review.models import ModelCost
from rentals.stations.models import Station
from rentals.takings.models import Terms
from rentals.weather import services as weather

BOUGHT_AGO_DAYS = (150, 1500)


def is_loaded() -> bool:
    """Say whether there is any station yet."""
    return Station.objects.exists()


@write
def load_scenario(*, actor: Actor, now: datetime) -> None:
    """Load stations, staff, shed, riders and a season of history. Only into an empty database.

    Raises:
        Refused: there is a station already.
    """
    actor.require_system(System.SEED)
    if is_loaded():
        raise Refused("There is a station already. The demo goes only into an empty database.")
    stations = [Station.objects.create(**facts) for facts in demo.told("stations")]
    _hire(stations, now.date())
    models = {facts["name"]: ItemModel.objects.create(**facts) for facts in demo.told("models")}
    riders = _meet(stations, now)
    for station in stations:
        items = _fill_shed(station, models, now.date())
        _price(station, models)
        Season(station, items, [rider for rider in riders if rider.station_id == station.pk], now).write()


def fill_day(*, now: datetime) -> None:
    """Give each station a forecast and a day under way, through the same services that staff use.

    A day that has outings already is left as it is, so the demo can be stopped and started again.
    """
    for station in Station.objects.filter(slug__in=[facts["slug"] for facts in demo.told("stations")]):
        manager = actor_of(User.objects.get(username="manager"), now.date())
        if not Terms.objects.filter(station=station).exists():
            set_prices(station, manager, now=now)
            write_ledger(actor=service(System.SEED), seller=manager, station=station, now=now)
        today = station.local(now).date()
        # Nobody at the desk made what people at home booked ahead.
        if Outing.objects.filter(
            station=station, starts_at__date__gte=today, booking__booked_by__isnull=False
        ).exists():
            continue
        content = demo.forecast_json(station, today, days=4, updated_at=now).encode()
        weather.take_file(actor=manager, station_id=station.pk, content=content, now=now)
        day = Day(station, manager, now)
        day.play()
        school(station, manager, day.others[8:], now)
        take_money(station, manager, now=now)
        sell_ahead(station, manager, now=now)
        invite(station, manager, now)


def _hire(stations: Sequence[Station], today: date) -> None:
    by_slug = {station.slug: station for station in stations}
    password = make_password(demo.PASSWORD)
    for facts in demo.told("people")["staff"]:
        user = User.objects.create(
            username=facts["username"],
            first_name=facts["first_name"],
            last_name=facts["last_name"],
            password=password,
        )
        for slug in facts["stations"]:
            since = today - timedelta(days=demo.HISTORY_DAYS + 30)
            Posting.objects.create(user=user, station=by_slug[slug], role=facts["role"], since=since)


def _meet(stations: Sequence[Station], now: datetime) -> list[Rider]:
    riders = [
        Rider(
            station=stations[0] if number % 4 else stations[1],
            name=figure.name,
            born_on=figure.born_on,
            mass_kg=Decimal(str(figure.mass_kg)),
            stature_cm=figure.stature_cm,
            level=figure.level,
            swims=True,
            phone=f"0700 {number:03d} {number * 7 % 1000:03d}",
            waiver_signed_at=None if number % 11 == 5 else now - timedelta(days=demo.HISTORY_DAYS),
            guardian_name=figure.guardian_name,
            guardian_phone="0700 999 000" if figure.guardian_name else "",
            guardian_consent_at=now - timedelta(days=demo.HISTORY_DAYS) if figure.guardian_name else None,
        )
        for number, figure in enumerate(demo.figures(now.date()))
    ]
    return Rider.objects.bulk_create(riders)


def _price(station: Station, models: Mapping[str, ItemModel]) -> None:
    """Say what a new one of each model costs the station, and a fault."""
    told = demo.told("costs")
    ModelCost.objects.bulk_create(
        ModelCost(
            station=station,
            model=models[name],
            new_cost=Decimal(told["kinds"][models[name].kind]["new"]),
            fault_cost=Decimal(told["kinds"][models[name].kind]["fault"]),
        )
        for name in demo.shed(station.slug)
    )


_COLOURS = ("white and red", "blue", "yellow", "orange and grey", "green", "white and blue")


def _fill_shed(station: Station, models: Mapping[str, ItemModel], today: date) -> list[Item]:
    dice = random.Random(f"{demo.SEED}:{station.slug}")  # noqa: S311 - a story, not a secret
    count: defaultdict[Kind, int] = defaultdict(int)
    items = []
    for name, units_held in demo.shed(station.slug).items():
        kind = Kind(models[name].kind)
        for _unit in range(units_held):
            count[kind] += 1
            coloured = kind in (Kind.SAIL, Kind.BOARD)
            items.append(
                Item(
                    station=station,
                    model=models[name],
                    tag=f"{demo.TAG_LETTERS[kind]}{count[kind]:02d}",
                    colour=dice.choice(_COLOURS) if coloured else "",
                    bought_on=(bought := today - timedelta(days=dice.randint(*BOUGHT_AGO_DAYS))),
                    batch=f"{bought.year}-{1 + bought.month // 7}",
                )
            )
    return Item.objects.bulk_create(items)
