"""A day at a large station through the real services: planned in the morning, a third of it back by one.

The shed is the same however many riders come, so that a page grows by them alone.
"""

from decimal import Decimal
from random import Random

from rentals.bench import services as bench
from rentals.bookings import services as bookings
from rentals.bookings.models import Outing
from rentals.bookings.states import OutingState
from rentals.dayplan import services as dayplan
from rentals.dayplan import tasks
from rentals.desk import demo
from rentals.fleet.models import Item, ItemModel, Kind
from rentals.lib.access import System, service
from tests.cast import Cast
from tests.rentals.takings.shop import PriceList

SEED = 20261201
SLOTS = 9, 12, 15
"""Hours at which outings begin: at one the first are closed, the second afloat, the third to come."""

PARTY = 4

SHED = {
    Kind.SAIL: dict.fromkeys(
        ("Thrift 4.5", "Samphire 5.0", "Samphire 5.3", "Samphire 5.7", "Samphire 6.0", "Samphire 6.4"), 40
    ),
    Kind.MAST: {"Lyme 400 RDM": 90, "Lyme 430 RDM": 90},
    Kind.BOOM: {"Bindweed 140–190": 160},
    Kind.EXTENSION: {"Rush RDM 4–36": 160},
    Kind.BASE: {"Sandwort tendon": 160},
    Kind.BOARD: {"Campion 115": 90, "Campion 130": 90},
    Kind.FIN: {"Saltwort 34 tuttle": 180},
    Kind.BUOYANCY_AID: {"Bladderwrack M": 100, "Bladderwrack L": 100},
    Kind.WETSUIT: {"Kelp 5 mm M": 100, "Kelp 5 mm L": 100},
}


def stock(cast: Cast) -> None:
    """Fill the shed of Tarrow Lagoon."""
    told = {facts["name"]: facts for facts in demo.told("models")}
    for kind, models in SHED.items():
        number = 0
        for name, count in models.items():
            model = ItemModel.objects.create(**told[name])
            for _ in range(count):
                number += 1
                Item.objects.create(station=cast.tarrow, model=model, tag=f"{demo.TAG_LETTERS[kind]}{number}")


def pass_by(cast: Cast, size: int) -> None:
    """Let so many riders be booked and planned, and the day go on until one."""
    morning = cast.at(7)
    cast.now = morning
    PriceList(cast)
    cast.blow()
    random = Random(SEED)
    riders = [
        cast.rider(
            f"Rider {number}",
            level=random.choice(("intermediate", "advanced")),
            mass_kg=Decimal(random.randint(58, 92)),
            stature_cm=random.randint(160, 190),
        )
        for number in range(size)
    ]
    for place, hour in enumerate(SLOTS):
        of_slot = riders[place :: len(SLOTS)]
        for begin in range(0, len(of_slot), PARTY):
            cast.booked(*of_slot[begin : begin + PARTY], hour=hour)
    _plan(cast)
    first, second, _ = (
        Outing.objects.filter(starts_at=cast.at(hour), state=OutingState.KITTED).order_by("id")
        for hour in SLOTS
    )
    _watch(cast, SLOTS[0])
    for outing in list(first):
        _launch(cast, outing, SLOTS[0])
        _return(cast, outing, SLOTS[0])
    _watch(cast, SLOTS[1])
    for outing in list(second):
        _launch(cast, outing, SLOTS[1])
    cast.now = cast.at(13)


def _plan(cast: Cast) -> None:
    facts = dayplan.CrewFacts(hands=20, rig_min=10, lead_min=60)
    dayplan.set_crew(actor=cast.boss, station_id=cast.tarrow.pk, facts=facts, now=cast.now)
    worker = service(System.SOLVE)
    plan = dayplan.ask_for_plan(actor=cast.boss, station_id=cast.tarrow.pk, day=cast.now.date(), now=cast.now)
    errand = dayplan.take_plan(actor=worker, now=cast.now)
    assert errand is not None
    tasks.work_on(worker, errand)
    dayplan.accept_plan(actor=cast.boss, plan_id=plan.pk, now=cast.now)


def _watch(cast: Cast, hour: int) -> None:
    cast.now = cast.at(hour)
    cast.watch_the_beach(instructors=40)


def _launch(cast: Cast, outing: Outing, hour: int) -> None:
    cast.now = cast.at(hour)
    bookings.issue_kit(actor=cast.boss, outing_id=outing.pk, kit_no=outing.kit_no, now=cast.now)
    cast.checked(outing, launch=True)


def _return(cast: Cast, outing: Outing, hour: int) -> None:
    later = cast.at(hour + 1, 50)
    lines = [bench.Came(item_id=part.item_id, back=True, rinsed=True) for part in cast.kit_of(outing)]
    bench.take_back(actor=cast.boss, outing_id=outing.pk, lines=lines, felt="right", now=later)
