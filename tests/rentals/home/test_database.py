"""Every constraint of the tables for people at home, tried around the services."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

import pytest
from django.apps import apps
from django.db import models
from django.db.models import CheckConstraint

from rentals.home.models import Front, Guest, Link, Signature, Tally
from tests.rentals.database.rows import HOUR, NOON, Rows, copied, inserted, refused_as_twin, refused_by


@pytest.fixture
def rows(db: None) -> Rows:
    """Valid rows, made when first asked for."""
    return Rows()


def a_front(rows: Rows) -> Front:
    return Front.objects.create(station=rows.station, phone="0700 1")


def a_guest(rows: Rows) -> Guest:
    return Guest.objects.create(
        booking=rows.booking,
        state="booked",
        from_home=True,
        language="en",
        once=UUID(int=1),
        joined_at=NOON - HOUR,
        starts_at=NOON,
        ends_at=NOON + HOUR,
    )


def a_link(rows: Rows) -> Link:
    return Link.objects.create(guest=a_guest(rows), digest="0" * 64, made_at=NOON)


def a_signature(rows: Rows) -> Signature:
    return Signature.objects.create(
        rider=rows.rider, what="waiver", version="2026-1", language="en", name="Ada", signed_at=NOON
    )


def a_signature_at_desk(rows: Rows) -> Signature:
    signature = a_signature(rows)
    Signature.objects.filter(pk=signature.pk).update(at_desk=rows.user)
    return signature


def a_tally(_rows: Rows) -> Tally:
    return Tally.objects.create(key="0" * 64, since=NOON, count=1)


Row = Callable[[Rows], models.Model]

CHECKS: list[tuple[str, Row, dict[str, Any]]] = [
    ("front_days_ahead", a_front, {"days_ahead": 0}),
    ("front_days_ahead", a_front, {"days_ahead": 61}),
    ("front_lead", a_front, {"lead_min": 14}),
    ("front_change_until", a_front, {"change_until_min": 7 * 24 * 60 + 1}),
    ("front_offer", a_front, {"offer_min": 4}),
    ("front_language", a_front, {"language": "xx"}),
    ("guest_state", a_guest, {"state": "lost"}),
    ("guest_span", a_guest, {"ends_at": NOON}),
    ("guest_span", a_guest, {"ends_at": NOON + 13 * HOUR}),
    ("guest_offer_ends", a_guest, {"state": "offered"}),
    ("guest_language", a_guest, {"language": ""}),
    ("signature_what", a_signature, {"what": "gift"}),
    ("signature_is_named", a_signature, {"name": ""}),
    ("signature_is_named", a_signature, {"version": ""}),
    ("signature_relation", a_signature, {"relation": "aunt"}),
    ("guardian_at_desk_is_related", a_signature_at_desk, {"what": "guardian"}),
]

TWINS: list[tuple[str, Row, tuple[str, ...], dict[str, Any]]] = [
    ("home_front.station", a_front, ("station_id",), {}),
    ("home_guest.booking", a_guest, ("booking_id",), {"once": UUID(int=2)}),
    ("home_link.digest", a_link, ("digest",), {}),
    ("tally_per_key_and_span", a_tally, ("key", "since"), {}),
]


@pytest.mark.parametrize(("name", "row", "wrong"), CHECKS)
def test_what_cannot_be_is_refused(rows: Rows, name: str, row: Row, wrong: dict[str, Any]) -> None:
    made = row(rows)

    with refused_by(name):
        type(made)._default_manager.filter(pk=made.pk).update(**wrong)


@pytest.mark.parametrize(("name", "row", "columns", "other"), TWINS, ids=[each[0] for each in TWINS])
def test_a_twin_is_refused(
    rows: Rows, name: str, row: Row, columns: tuple[str, ...], other: dict[str, Any]
) -> None:
    made = row(rows)

    with refused_as_twin(columns):
        inserted(copied(made, **other))


def test_a_forms_key_is_used_once(rows: Rows) -> None:
    first = a_guest(rows)
    rows.__dict__.pop("booking")

    with refused_as_twin(("once",)):
        inserted(copied(first, booking=rows.booking))


def test_every_constraint_is_tried_here() -> None:
    declared = set()
    for model in apps.get_app_config("home").get_models():
        declared |= {constraint.name for constraint in model._meta.constraints}
        declared |= {
            f"{model._meta.db_table}.{field.name}"
            for field in model._meta.local_concrete_fields
            if field.unique and not field.primary_key
        }
    checked = {each.name for each in declared if isinstance(each, CheckConstraint)}

    assert not checked
    assert declared == {name for name, *_rest in (*CHECKS, *TWINS)} | {"home_guest.once"}
