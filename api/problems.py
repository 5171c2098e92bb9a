"""Errors of the API as problem details (RFC 9457), whatever went wrong."""

import logging
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Any, Final

from django.core.signals import got_request_exception
from django.http import Http404
from rest_framework.exceptions import APIException, ErrorDetail, ValidationError
from rest_framework.response import Response

from rentals.lib.problems import Refused
from rigging.units import BadValue

MEDIA_TYPE: Final = "application/problem+json"
TYPES: Final = "/api/v1/problems/"
"""Where a problem's type is explained; its slug follows."""

log = logging.getLogger("django.request")


class BadQuery(ValidationError):
    """A parameter of the query is off."""

    status_code = HTTPStatus.BAD_REQUEST


class BadKey(APIException):
    """The request's own key is no key."""

    status_code = HTTPStatus.BAD_REQUEST
    default_code = "idempotency_key"


class TooLarge(APIException):
    """More was sent than is read."""

    status_code = HTTPStatus.REQUEST_ENTITY_TOO_LARGE
    default_code = "too_large"


@dataclass(frozen=True, slots=True)
class Problem:
    """What went wrong: a kind with a stable slug, a sentence, and what of the request is to blame."""

    status: int
    slug: str
    title: str
    detail: str
    errors: Sequence[Mapping[str, str]] = ()
    headers: Mapping[str, str] = field(default_factory=dict)


OWN: Final[Mapping[str, tuple[int, str, str]]] = {
    "invalid": (422, "Check what was sent", "A field is missing, unknown or out of its range."),
    "bad-query": (400, "Check the query", "A parameter is unknown or out of its range."),
    "bad-value": (422, "A number is out of its range", "The trade's formulas refuse a number."),
    "malformed": (400, "The body cannot be read", "The body is not the JSON that its media type says."),
    "idempotency-key": (400, "Check the Idempotency-Key", "The header holds no UUID."),
    "not-signed-in": (401, "Sign in first", "There is no token, or it is unknown or has run out."),
    "not-found": (404, "Not found", "There is nothing at that address for this token."),
    "method-not-allowed": (405, "The address does not do that", "See the Allow header."),
    "not-acceptable": (406, "There is no such form of it", "Answers are JSON."),
    "too-large": (413, "That is too much", "The body is larger than is read."),
    "unsupported-media-type": (415, "The body is in a form not read here", "See the document."),
    "unexpected": (500, "Something broke here", "It is logged; try again, then tell the station's manager."),
}
"""Kinds of problem beside those of the services: status, title, and what it means."""

_CODES: Final = {
    "parse_error": "malformed",
    "not_authenticated": "not-signed-in",
    "authentication_failed": "not-signed-in",
    "not_found": "not-found",
    "method_not_allowed": "method-not-allowed",
    "not_acceptable": "not-acceptable",
    "unsupported_media_type": "unsupported-media-type",
    "too_large": "too-large",
    "idempotency_key": "idempotency-key",
}
"""What the framework calls its errors, and ours, as kinds of problem."""


def handle(error: Exception, context: Mapping[str, Any]) -> Response:
    """Return the problem that an endpoint's error is."""
    problem = _problem_of(error, context)
    headers = dict(problem.headers)
    if problem.status == HTTPStatus.UNAUTHORIZED:
        headers["WWW-Authenticate"] = "Token"
    said: dict[str, Any] = {
        "type": f"{TYPES}{problem.slug}/",
        "title": problem.title,
        "status": problem.status,
        "detail": problem.detail,
        "instance": context["request"].path,
    }
    if problem.errors:
        said["errors"] = problem.errors
    return Response(said, status=problem.status, headers=headers, content_type=MEDIA_TYPE)


def kinds() -> dict[str, tuple[int, str, str]]:
    """Return every kind of problem by slug: status, title, and what it means."""
    said = {each.slug: (each.status, each.title, _first_line(each)) for each in _refusals(Refused)}
    return {**said, **OWN}


def _problem_of(error: Exception, context: Mapping[str, Any]) -> Problem:
    if isinstance(error, Refused):
        at = context["view"].pointer_of
        errors = [{"pointer": at(name), "detail": said} for name, said in error.fields.items()]
        headers = getattr(error, "headers", {})
        return Problem(error.status, error.slug, error.title, error.sentence, errors, headers)
    if isinstance(error, BadQuery):
        errors = [{"parameter": at[1:], "detail": said} for at, said in _leaves(error.detail)]
        return _own("bad-query", errors[0]["detail"], errors)
    if isinstance(error, ValidationError):
        errors = [{"pointer": at, "detail": said} for at, said in _leaves(error.detail)]
        return _own("invalid", errors[0]["detail"], errors)
    if isinstance(error, BadValue):
        return _own("bad-value", str(error))
    if isinstance(error, Http404):
        return _own("not-found", "There is nothing at this address.")
    slug = _CODES.get(getattr(error, "default_code", ""))
    if isinstance(error, APIException) and slug:
        return _own(slug, str(error.detail))
    return _unexpected(error, context)


def _own(slug: str, detail: str, errors: Sequence[Mapping[str, str]] = ()) -> Problem:
    status, title, _meaning = OWN[slug]
    return Problem(status, slug, title, detail, errors)


def _unexpected(error: Exception, context: Mapping[str, Any]) -> Problem:
    """Return a problem that tells nothing of the fault, which goes to the log and to whoever listens."""
    request = context["request"]
    log.error("%s %s failed", request.method, request.path, exc_info=error)
    got_request_exception.send(sender=context["view"].__class__, request=request._request)
    return _own("unexpected", OWN["unexpected"][2])


def _leaves(detail: Any, at: str = "") -> Iterator[tuple[str, str]]:
    """Yield the pointer and sentence of each error in a tree of them."""
    if isinstance(detail, Mapping):
        for name, below in detail.items():
            step = "" if name == "non_field_errors" else "/" + _escaped(str(name))
            yield from _leaves(below, at + step)
    elif isinstance(detail, ErrorDetail | str):
        yield at, str(detail)
    else:
        for number, below in enumerate(detail):
            yield from _leaves(below, at if isinstance(below, str) else f"{at}/{number}")


def _escaped(name: str) -> str:
    """Return a name as one step of a JSON pointer (RFC 6901, section 3)."""
    # Half a character of JSON cannot be said back in UTF-8.
    sayable = name.encode(errors="replace").decode()
    return sayable.replace("~", "~0").replace("/", "~1")


def _refusals(above: type[Refused]) -> Iterator[type[Refused]]:
    yield above
    for below in above.__subclasses__():
        yield from _refusals(below)


def _first_line(kind: type[Refused]) -> str:
    return (kind.__doc__ or "").partition("\n")[0]
