"""Whatever stands in a field or a parameter is answered and breaks nothing, over the whole document."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import resolve

from api.schema import document
from rentals.home.services import FrontFacts, open_front
from tests.api.client import ROOT, Answer, Api
from tests.api.test_roles import ROWS, Row
from tests.cast import Cast
from tests.rentals.takings.shop import PriceList

NASTY: list[Any] = [
    None,
    True,
    "",
    "a\0b",
    "\ud800",
    "x" * 10_000,
    "NaN",
    "9999-12-31T23:59:59-23:59",
    "0001-01-01",
    -1,
    0.1,
    2**63,
    10**400,
    1e308,
    [],
    [None],
    {},
    {"a": {"b": []}},
]
"""Ends of ranges and wrong types that parsers, zones and databases trip over."""

QUERIES = ["", "\0", "x" * 10_000, "-1", "9999999999999999999999", "0001-01-01", "9999-12-31", "٣", "%", "'"]

WRITING = [row for row in ROWS if row.body is not None and row.name not in ("tokens", "weather-files")]
ASKING = [
    pytest.param(place, told["get"]["parameters"], id=told["get"]["operationId"])
    for place, told in document()["paths"].items()
    if any(each["in"] == "query" for each in told.get("get", {}).get("parameters", ()))
]


def fields_of(row: Row) -> list[str]:
    """Return the names of the fields that an operation's body may have."""
    place = next(
        told
        for told in document()["paths"]
        if _named(told) == row.name and row.method in document()["paths"][told]
    )
    (content,) = document()["paths"][place][row.method]["requestBody"]["content"].values()
    name = content["schema"]["$ref"].rpartition("/")[2]
    return list(document()["components"]["schemas"][name]["properties"])


def _named(place: str) -> str:
    known = {"slug": "x", "station": "x"}
    address = place
    for part in place.split("/"):
        if part.startswith("{"):
            address = address.replace(part, known.get(part[1:-1], "1"))
    return resolve(address).url_name or ""


@pytest.mark.parametrize("row", WRITING, ids=lambda row: f"{row.method} {row.name}")
def test_a_body_with_anything_in_a_field_is_answered(row: Row, cast: Cast, api: Api) -> None:
    place, manager = row.place(cast), api.of(cast.manager)
    body = row.body(cast) if row.body else {}

    for field, value in ((field, value) for field in fields_of(row) for value in NASTY):
        answer = getattr(manager, row.method)(place, {**body, field: value})
        assert answer.status < 500, (field, value, answer.said)


def bent(place: str, parameters: list[dict[str, Any]]) -> Iterator[dict[str, str]]:
    """Yield queries with one parameter bent."""
    for each in parameters:
        if each["in"] == "query":
            yield from ({each["name"]: value} for value in QUERIES)


def open_the_page(cast: Cast) -> None:
    facts = FrontFacts(is_open=True, phone="0700 888 000")
    open_front(actor=cast.boss, station_id=cast.tarrow.pk, facts=facts, now=cast.now)


@pytest.mark.parametrize(("place", "parameters"), ASKING)
def test_a_query_with_anything_in_a_parameter_is_answered(
    place: str, parameters: list[dict[str, Any]], cast: Cast, api: Api
) -> None:
    manager = api.of(cast.manager)
    address = place.removeprefix(ROOT).replace("{station}", cast.tarrow.slug)
    PriceList(cast)
    if address.startswith("/from-home/"):
        open_the_page(cast)
    if "{outing_id}" in address:
        address = address.replace("{outing_id}", str(cast.out().pk))

    for query in bent(place, parameters):
        answer = manager.get(address, **query)
        assert answer.status in (200, 400), (query, answer.said)


@pytest.mark.parametrize("value", NASTY, ids=lambda value: json.dumps(value)[:12])
def test_a_body_of_anything_is_answered(value: Any, cast: Cast, api: Api) -> None:
    content = json.dumps(value).encode()

    answer: Answer = api.of(cast.desk).send(
        f"/stations/{cast.tarrow.slug}/bookings/", content, "application/json"
    )

    assert answer.status in (400, 422)
