"""Planned inspections: what each kind of item has to go through, and the float test."""

import pytest

from rigging.units import BadValue
from rigging.wear import DEFAULT_RULES, Occasion, float_test, planned


@pytest.mark.parametrize("kind", list(DEFAULT_RULES))
def test_every_kind_has_a_periodic_inspection_with_points(kind: str) -> None:
    periodic = [each for each in planned(kind) if each.occasion is Occasion.PERIODIC]

    assert periodic
    assert all(each.points for each in periodic)


@pytest.mark.parametrize("kind", ["mast", "boom", "extension", "base", "harness", "buoyancy aid"])
def test_what_can_hurt_is_looked_at_weekly(kind: str) -> None:
    # common practice, no source
    assert planned(kind)[0].rule.every_days == 7


@pytest.mark.parametrize(
    ("kind", "name"),
    [("base", "tendon"), ("boom", "lines"), ("extension", "downhaul line"), ("harness", "harness lines")],
)
def test_tendons_and_lines_are_renewed_by_hours_and_by_age(kind: str, name: str) -> None:
    # common practice, no source
    (renewal,) = (each for each in planned(kind) if each.occasion is Occasion.RENEWAL)

    assert renewal.rule.name.startswith(name)
    assert renewal.rule.every_hours
    assert renewal.rule.every_days


@pytest.mark.parametrize("kind", list(DEFAULT_RULES))
def test_names_are_told_apart_within_a_kind(kind: str) -> None:
    names = [each.rule.name for each in planned(kind)]

    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("kind", "word"),
    [
        ("base", "tendon"),
        ("boom", "clamp"),
        ("mast", "joint"),
        ("extension", "pin"),
        ("sail", "cams"),
        ("sail", "monofilm"),
        ("buoyancy aid", "float test"),
    ],
)
def test_the_usual_weak_points_are_looked_at(kind: str, word: str) -> None:
    # common practice, no source
    points = " ".join(point for each in planned(kind) for point in each.points).lower()

    assert word in points


def test_a_kind_that_is_not_known_is_refused() -> None:
    with pytest.raises(BadValue):
        planned("kite")


@pytest.mark.parametrize(
    ("carried_kg", "passed"),
    # ISO 80000-4: 9.80665 m/s2, so 50 N is 5.099 kg and nine tenths of it 4.589 kg
    [(5.099, True), (4.59, True), (4.58, False), (0, False)],
)
def test_an_aid_must_carry_nine_tenths_of_its_label(carried_kg: float, passed: bool) -> None:
    assert float_test(carried_kg, 50).passed is passed


@pytest.mark.parametrize(("carried_kg", "nominal_n"), [(-1, 50), (float("nan"), 50), (5, 0), (61, 50)])
def test_a_test_that_cannot_be_is_refused(carried_kg: float, nominal_n: float) -> None:
    with pytest.raises(BadValue):
        float_test(carried_kg, nominal_n)
