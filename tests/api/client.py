"""A small client that speaks JSON, may carry a token, and holds every answer against the document."""

import re
from functools import cache
from typing import Any
from urllib.parse import quote
from uuid import UUID

from django.test import Client
from knox.models import AuthToken
from openapi_schema_validator import OAS31Validator
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from api.schema import document
from rentals.people.models import User

ROOT = "/api/v1"
UNDECLARED = (405, 406, 500)
"""Problems that any operation may answer with; the document has them under `default`."""


class Answer:
    """What came back."""

    def __init__(self, response: Any) -> None:
        self.status: int = response.status_code
        self.headers = response.headers
        self.content: bytes = response.content
        self.said: Any = response.json() if response.content else None
        request = response.wsgi_request
        documented = _documented(request.path)
        if documented is not None and request.method.lower() in document()["paths"][documented]:
            self._hold_against(documented, request.method.lower())

    @property
    def blamed(self) -> dict[str, str]:
        """Sentences by JSON pointer or parameter."""
        return {at.get("pointer", at.get("parameter")): at["detail"] for at in self.said.get("errors", ())}

    def _hold_against(self, place: str, method: str) -> None:
        """See that the answer is one which the document declares, in the shape that it declares."""
        code = "default" if self.status in UNDECLARED else str(self.status)
        declared = document()["paths"][place][method]["responses"]
        assert code in declared, f"{method} {place} answered {self.status}, which its document does not know"
        if "content" in declared[code]:
            media_type = self.headers["Content-Type"].partition(";")[0]
            _validator(place, method, code, media_type).validate(self.said)


class Api:
    """Asks the API for things as somebody, or as nobody."""

    def __init__(self, user: User | None = None, *, raises: bool = True) -> None:
        headers = {}
        if user is not None:
            _, token = AuthToken.objects.create(user)
            headers["Authorization"] = f"Token {token}"
        self.client = Client(headers=headers, raise_request_exception=raises)

    def of(self, user: User, *, raises: bool = True) -> "Api":
        """Return a client with a user's token."""
        return Api(user, raises=raises)

    def get(self, path: str, **query: Any) -> Answer:
        """Read."""
        return Answer(self.client.get(_address(path), query))

    def post(self, path: str, body: Any = None, *, once: UUID | str | None = None) -> Answer:
        """Do."""
        headers = {} if once is None else {"Idempotency-Key": str(once)}
        response = self.client.post(_address(path), body, content_type="application/json", headers=headers)
        return Answer(response)

    def put(self, path: str, body: Any) -> Answer:
        """Put in place."""
        return Answer(self.client.put(_address(path), body, content_type="application/json"))

    def delete(self, path: str) -> Answer:
        """Give back."""
        return Answer(self.client.delete(_address(path)))

    def send(self, path: str, content: bytes, media_type: str) -> Answer:
        """Send a body as it is."""
        return Answer(self.client.post(_address(path), content, content_type=media_type))


def _address(path: str) -> str:
    return path if path.startswith("http") else f"{ROOT}{path}"


@cache
def _patterns() -> list[tuple[str, re.Pattern[str]]]:
    """Return the document's places, each with what addresses it covers."""
    kinds = {"integer": r"\d+", "string": "[-a-zA-Z0-9_]+"}
    found = []
    for place, operations in document()["paths"].items():
        pattern = place
        for told in next(iter(operations.values())).get("parameters", ()):
            if told["in"] == "path":
                pattern = pattern.replace(f"{{{told['name']}}}", kinds[told["schema"]["type"]])
        found.append((place, re.compile(pattern)))
    return found


def _documented(path: str) -> str | None:
    return next((place for place, pattern in _patterns() if pattern.fullmatch(path)), None)


@cache
def _validator(place: str, method: str, code: str, media_type: str) -> OAS31Validator:
    steps = ["paths", place, method, "responses", code, "content", media_type, "schema"]
    pointer = "/".join(step.replace("~", "~0").replace("/", "~1") for step in steps)
    registry: Registry[Any] = Registry().with_resource("urn:api", DRAFT202012.create_resource(document()))
    return OAS31Validator(
        {"$ref": f"urn:api#/{quote(pointer)}"},
        registry=registry,
        format_checker=OAS31Validator.FORMAT_CHECKER,
    )
