"""Where a write begins: one transaction, and no commit unless permission was asked in it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import transaction

from rentals.lib import access

P = ParamSpec("P")
R = TypeVar("R")


class PermissionNotAsked(Exception):
    """A service changed data without asking who may: a fault of ours, rolled back."""


class NotInWrite(Exception):
    """A helper that must run inside a write was called on its own: a fault of ours."""


def write(service: Callable[P, R]) -> Callable[P, R]:
    """Make a public service function one durable transaction that must ask for permission.

    A write cannot call another write: what they share is an `inside_write` helper.
    """

    @wraps(service)
    def run(*args: P.args, **kwargs: P.kwargs) -> R:
        with transaction.atomic(durable=True):
            access.begin_asking()
            result = service(*args, **kwargs)
            if not access.was_asked():
                raise PermissionNotAsked(f"{service.__module__}.{service.__qualname__}")
        return result

    return run


def inside_write(helper: Callable[P, R]) -> Callable[P, R]:
    """Make a helper refuse to run outside a write's transaction."""

    @wraps(helper)
    def run(*args: P.args, **kwargs: P.kwargs) -> R:
        if not transaction.get_connection().in_atomic_block:
            raise NotInWrite(f"{helper.__module__}.{helper.__qualname__}")
        return helper(*args, **kwargs)

    return run


@contextmanager
def savepoint() -> Iterator[None]:
    """A point inside a write to which a caught database error falls back; only beside its `except`."""
    with transaction.atomic():
        yield
