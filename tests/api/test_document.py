"""The OpenAPI document: valid, as committed, and honest about problems."""

from typing import Any

import pytest
from drf_spectacular.generators import SchemaGenerator
from openapi_spec_validator import OpenAPIV31SpecValidator, validate

from api import schema
from api.problems import MEDIA_TYPE
from tests.api.client import Api
from tests.cast import Cast

OPERATIONS = [
    pytest.param(operation, id=operation["operationId"])
    for place in schema.document()["paths"].values()
    for operation in place.values()
]


def test_the_committed_document_is_that_of_the_endpoints() -> None:
    """When it differs, the command in `api/schema.py` writes it anew."""
    assert schema.document() == SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]


def test_the_document_is_valid_openapi_3_1() -> None:
    """OpenAPI Specification 3.1.0, by openapi-spec-validator."""
    assert schema.document()["openapi"] == "3.1.0"

    validate(schema.document(), cls=OpenAPIV31SpecValidator)


@pytest.mark.parametrize("operation", OPERATIONS)
def test_an_operation_declares_its_problems(operation: dict[str, Any]) -> None:
    problems = {code: said for code, said in operation["responses"].items() if not code.startswith("2")}

    assert "default" in problems
    assert all(MEDIA_TYPE in said["content"] for said in problems.values())


@pytest.mark.parametrize("operation", OPERATIONS)
def test_an_operation_says_in_a_line_what_it_does(operation: dict[str, Any]) -> None:
    assert operation["summary"]
    assert operation["tags"]


def test_a_body_takes_no_fields_but_those_it_names() -> None:
    bodies = {
        name: body for name, body in schema.document()["components"]["schemas"].items() if "Request" in name
    }

    assert bodies
    assert all(body["additionalProperties"] is False for body in bodies.values())


def test_the_document_is_served_to_whoever_is_signed_in(cast: Cast, api: Api) -> None:
    answer = api.of(cast.desk).get("/schema")

    assert answer.headers["Content-Type"] == "application/vnd.oai.openapi+json"
    assert answer.said == schema.document()
