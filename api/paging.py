"""Lists in pages: each page names the next by the place where it ended, so that new rows shift nothing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core import signing
from django.db.models import Q, QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param

from api.problems import BadQuery
from api.shapes import In, Out

MOST_ROWS = 200
USUAL_ROWS = 50


class PageQuery(In):
    """Which page of a list."""

    cursor = serializers.CharField(
        required=False, max_length=500, help_text="Where the page begins: from the `next` of the one before."
    )
    limit = serializers.IntegerField(
        required=False, min_value=1, max_value=MOST_ROWS, default=USUAL_ROWS, help_text="Most rows in a page."
    )


@dataclass(frozen=True, slots=True)
class Cut:
    """A page: its rows, and where the next one begins (empty on the last)."""

    rows: Sequence[Any]
    cursor: str


def cut(rows: QuerySet[Any], key: str, asked: Mapping[str, Any], *, scope: str) -> Cut:
    """Return one page of rows in the order of `key` and id: one query.

    Args:
        rows: in no order yet.
        key: column to sort by, with a minus to begin with the greatest.
        asked: cursor and limit.
        scope: what the cursor holds for; that of another list is refused.

    Raises:
        BadQuery: the cursor is none of ours, or of another list.
    """
    name, down = key.removeprefix("-"), key.startswith("-")
    beyond = "lt" if down else "gt"
    if "cursor" in asked:
        value, last_id = _opened(asked["cursor"], scope)
        rows = rows.filter(Q(**{f"{name}__{beyond}": value}) | Q(**{name: value, f"pk__{beyond}": last_id}))
    limit = asked["limit"]
    found = list(rows.order_by(key, "-pk" if down else "pk")[: limit + 1])
    if len(found) <= limit:
        return Cut(found, "")
    last = found[limit - 1]
    place = [rows.model._meta.get_field(name).value_to_string(last), last.pk]
    return Cut(found[:limit], signing.dumps(place, salt=scope))


def address(request: Request, cursor: str) -> str | None:
    """Return the address of the page that begins at a cursor; None when there is none."""
    return replace_query_param(request.build_absolute_uri(), "cursor", cursor) if cursor else None


def name_of(shape: type[Any]) -> str:
    """Return what the document calls a shape: a class carries the suffix where its row has the name."""
    return shape.__name__.removesuffix("Shape")


def paged(shape: type[Out]) -> type[Out]:
    """Return the shape of a page of things."""
    return type(
        f"{name_of(shape)}Page",
        (Out,),
        {
            "__doc__": "One page of a list.",
            "results": shape(many=True),
            "next": serializers.URLField(
                allow_null=True, help_text="The next page; null on the last. The Link header says it too."
            ),
        },
    )


def _opened(cursor: str, scope: str) -> tuple[str, int]:
    try:
        value, last_id = signing.loads(cursor, salt=scope)
    except signing.BadSignature as error:
        raise BadQuery({"cursor": ["Take the cursor from the page before, or leave it out."]}) from error
    return value, last_id
