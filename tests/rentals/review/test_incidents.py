"""Incidents per thousand launches: exact limits, beside the months before, and silence without launches."""

from datetime import date, datetime, timedelta

import pytest

from rentals.incidents.models import Incident, Telling
from rentals.lib.tables import Table
from rentals.review.mapping.figures import figures, named
from rentals.review.mapping.period import Period
from rentals.review.queries.facts import facts
from tests.rentals.review.past import sailed
from tests.rentals.walk import DAY, Walk

JULY = Period(date(2027, 7, 1), date(2027, 8, 1))


def happened(cast: Walk, at: datetime, kind: str = "rescue", versions: int = 1) -> None:
    incident = Incident.objects.create(station=cast.tarrow, reported_at=at, reported_by=cast.instructor)
    for version in range(1, versions + 1):
        Telling.objects.create(
            incident=incident,
            version=version,
            at=at,
            by=cast.instructor,
            why="" if version == 1 else "It was another kind",
            kind="damage" if version < versions else kind,
            severity="minor",
            cause="unknown",
            happened_at=at,
            words="Towed in.",
        )


def table(cast: Walk) -> Table:
    (figure,) = named(figures(facts(cast.boss, cast.tarrow, JULY)), "incidents")
    return figure.table


def test_the_rate_has_the_exact_limits_of_the_table(cast: Walk) -> None:
    # Garwood 1936: a count of 3 has limits 0.6187 and 8.7673 at 95 %; 20 launches
    for number in range(20):
        sailed(cast, [], at=cast.now - timedelta(hours=3 * number + 2))
    for number in range(3):
        happened(cast, cast.now - timedelta(hours=number + 1))

    row = next(row for row in table(cast).rows if row[0] == "all")

    assert row[1:3] == (3, 20)
    assert row[3:] == pytest.approx((150.0, 1000 * 0.6187 / 20, 1000 * 8.7673 / 20), rel=1e-4)


def test_a_corrected_incident_counts_once_as_what_it_was(cast: Walk) -> None:
    sailed(cast, [], at=cast.now - DAY)
    happened(cast, cast.now - DAY, versions=3)

    assert {row[0]: row[1] for row in table(cast).rows} == {"rescue": 1, "all": 1}


def test_it_is_held_against_the_months_before(cast: Walk) -> None:
    for days in (1, 2, 40, 41):
        sailed(cast, [], at=cast.now - days * DAY)
    happened(cast, cast.now - DAY)
    happened(cast, cast.now - 40 * DAY)

    assert "too few to tell" in table(cast).says


def test_none_so_far_is_not_none_to_come(cast: Walk) -> None:
    sailed(cast, [], at=cast.now - DAY)

    assert "doesn't mean none to come" in table(cast).says


def test_without_launches_there_is_no_rate(cast: Walk) -> None:
    happened(cast, cast.now - DAY)

    assert table(cast).rows == ()
    assert table(cast).when_empty == "Nobody went afloat in this time, so there is no rate."
