"""An item's life on one line: what stands on it, from the records of the bench and the journal."""

from datetime import timedelta

from pytest_django import DjangoAssertNumQueries

from rentals.bench import queries
from rentals.bench.queries import LifeLine
from rentals.incidents import services as incidents
from tests.rentals.review.past import broke, sailed
from tests.rentals.walk import DAY, Walk


def line_of(cast: Walk, tag: str = "S1") -> LifeLine:
    today = cast.now.date()
    life = queries.item_life(cast.jory, cast.tarrow, tag, today=today)
    return queries.life_line(life, cast.tarrow, today=today)


def test_hours_faults_and_repairs_stand_on_it(cast: Walk) -> None:
    sail = cast.shed["S1"]
    sailed(cast, [sail], at=cast.now - 3 * DAY, hours=1.5)
    broke(sail, at=cast.now - 2 * DAY, fault="Torn")

    line = line_of(cast)

    day = cast.now.date() - timedelta(days=2)
    assert [(each.mark.day, str(each.mark.kind), each.words) for each in line.events] == [
        (day, "fault", "Torn"),
        (day, "repair", "Mended"),
    ]
    assert "1.5 h on the water; 0 checks, 1 fault, 1 repair, 0 incidents." in line.says
    assert line.says in line.drawing


def test_an_incident_stands_on_it_once_and_not_as_a_fault(cast: Walk) -> None:
    told = incidents.Told(
        kind="damage", severity="none", cause="unknown", happened_at=cast.now, words="The mast broke."
    )
    incidents.report_incident(
        actor=cast.boss,
        station_id=cast.tarrow.pk,
        told=told,
        item_ids=[cast.shed["M1"].pk],
        now=cast.now,
    )

    assert [str(each.mark.kind) for each in line_of(cast, "M1").events] == ["incident"]


def test_it_takes_one_query_however_long_the_life(
    cast: Walk, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    today = cast.now.date()
    for days in range(1, 5):
        sailed(cast, [cast.shed["S1"]], at=cast.now - days * DAY)
    life = queries.item_life(cast.jory, cast.tarrow, "S1", today=today)

    with django_assert_num_queries(1):
        queries.life_line(life, cast.tarrow, today=today)
