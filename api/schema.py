"""The OpenAPI document: what each endpoint says of itself, and the problems that any of them may answer with.

Write it anew after a change with

    MARRAM_MODE=test uv run manage.py spectacular --file api/openapi.json --format openapi-json --fail-on-warn
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final, TypeVar

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse

from api.paging import PageQuery, name_of, paged
from api.problems import MEDIA_TYPE
from api.shapes import In, Out, Problem

Handler = TypeVar("Handler", bound=Callable[..., Any])

DOCUMENT: Final = Path(__file__).with_name("openapi.json")
SAFE: Final = ("GET", "HEAD", "OPTIONS")
RENAMED: Final = {413: "Content Too Large", 422: "Unprocessable Content"}
"""Names of RFC 9110, which Python has from 3.13 on: the document must not change with the Python."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """What an operation takes and answers."""

    name: str
    answer: type[Out] | None
    status: int
    many: bool
    body: type[In] | Mapping[str, OpenApiTypes | type[In]] | None
    query: type[In] | None
    once: bool
    by_role: bool
    needs_setup: bool


def operation(
    name: str,
    answer: type[Out] | None = None,
    *,
    status: int = HTTPStatus.OK,
    many: bool = False,
    body: type[In] | Mapping[str, OpenApiTypes | type[In]] | None = None,
    query: type[In] | None = None,
    once: bool = False,
    by_role: bool = False,
    needs_setup: bool = False,
) -> Callable[[Handler], Handler]:
    """Say of an endpoint's method what it takes and answers; its docstring says what it does.

    Args:
        name: the operation's id, for good.
        answer: shape of the answer, None for none.
        status: of the answer.
        many: whether it answers with a list; in pages when `query` is a `PageQuery`.
        body: shape of the body, or shapes and types by media type.
        query: shape of the query.
        once: whether it takes an Idempotency-Key.
        by_role: whether a read is kept to some roles; what writes always is.
        needs_setup: whether a read is refused while the station lacks what it reads, such as prices.
    """
    told = Operation(
        name=name,
        answer=answer,
        status=status,
        many=many,
        body=body,
        query=query,
        once=once,
        by_role=by_role,
        needs_setup=needs_setup,
    )

    def decorate(handler: Handler) -> Handler:
        handler.operation = told  # type: ignore[attr-defined]
        return handler

    return decorate


def _phrase(status: int) -> str:
    return RENAMED.get(int(status), HTTPStatus(status).phrase)


class Schema(AutoSchema):
    """Reads the document's operations off the endpoints."""

    @property
    def told(self) -> Operation:
        """What the method under view says of itself."""
        found: Operation = getattr(self.view, self.method.lower()).operation
        return found

    def get_operation_id(self) -> str:
        return self.told.name

    def get_tags(self) -> list[str]:
        return [type(self.view).__module__.rpartition(".")[2]]

    def get_summary(self) -> str:
        return self._said.partition("\n")[0].removesuffix(".")

    def get_description(self) -> str:  # type: ignore[override]  # as AutoSchema has it
        return self._said.partition("\n")[2].strip()

    @property
    def _said(self) -> str:
        said: str = getattr(self.view, self.method.lower()).__doc__
        return "\n".join(line.strip() for line in said.splitlines())

    def get_request_serializer(self) -> Any:
        return self.told.body

    def get_override_parameters(self) -> list[Any]:
        return [*([self.told.query] if self.told.query else []), *([_ONCE] if self.told.once else [])]

    def get_response_serializers(self) -> Any:
        problems = {
            (str(status), MEDIA_TYPE): OpenApiResponse(Problem, _phrase(status))
            for status in sorted(self._refused_with())
        }
        other = {("default", MEDIA_TYPE): OpenApiResponse(Problem, "Any other problem")}
        return {str(int(self.told.status)): self._answer(), **problems, **other}

    def _answer(self) -> OpenApiResponse:
        told = self.told
        phrase = _phrase(told.status)
        if told.answer is None or not told.many:
            return OpenApiResponse(told.answer, phrase)
        if told.query is not None and issubclass(told.query, PageQuery):
            return OpenApiResponse(paged(told.answer), phrase)
        return OpenApiResponse(told.answer(many=True), phrase)

    def _refused_with(self) -> set[int]:
        told, writes, public = self.told, self.method not in SAFE, not self.view.permission_classes
        found = {HTTPStatus.UNAUTHORIZED} if writes or not public else set()
        if "{" in self.path:
            found |= {HTTPStatus.NOT_FOUND}
        if told.query or told.body or told.once:
            found |= {HTTPStatus.BAD_REQUEST}
        if told.body:
            found |= {
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
                HTTPStatus.UNPROCESSABLE_ENTITY,
            }
        if writes and "{" in self.path:
            found |= {HTTPStatus.FORBIDDEN, HTTPStatus.CONFLICT, HTTPStatus.UNPROCESSABLE_ENTITY}
        if told.needs_setup:
            found |= {HTTPStatus.UNPROCESSABLE_ENTITY}
        if told.by_role:
            found |= {HTTPStatus.FORBIDDEN}
        if (writes and public) or getattr(self.view, "counted", False):
            found |= {HTTPStatus.TOO_MANY_REQUESTS}
        return {int(status) for status in found}

    def get_serializer_name(self, serializer: Any, direction: str) -> str:
        return name_of(type(serializer))

    def _map_basic_serializer(self, serializer: Any, direction: str) -> dict[str, Any]:
        mapped: dict[str, Any] = super()._map_basic_serializer(serializer, direction)  # type: ignore[no-untyped-call]
        if isinstance(serializer, In):
            mapped["additionalProperties"] = False
        return mapped


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How a token is sent."""

    target_class = "api.auth.ActorTokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        """Return the scheme."""
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "`Token ` and the token that `POST /api/v1/auth/tokens/` gave.",
        }


def tidy(result: Any, **_: Any) -> Any:
    """Return the document without the marks that its maker leaves for itself."""
    if isinstance(result, dict):
        return {key: tidy(below) for key, below in result.items() if key != "x-spec-enum-id"}
    return [tidy(below) for below in result] if isinstance(result, list) else result


@cache
def document() -> Any:
    """Return the document as it is kept beside this module; a test holds it against the endpoints."""
    return json.loads(DOCUMENT.read_text(encoding="utf-8"))


_ONCE = OpenApiParameter(
    "Idempotency-Key",
    OpenApiTypes.UUID,
    OpenApiParameter.HEADER,
    description=(
        "The request's own key, a UUID, quoted or bare. The same request again under the same key is "
        "done once and answered with what it led to, as that stands by then; another one under it is refused."
    ),
)
