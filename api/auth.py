"""Who calls: a token sent along, hashed at rest, and the actor behind it."""

import re
from typing import Any

from knox.auth import TokenAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from rentals.lib import clock
from rentals.people.mapping import actor_of

_TOKEN = re.compile(rb"\w+", re.ASCII)


class ActorTokenAuthentication(TokenAuthentication):  # type: ignore[misc]  # knox is untyped
    """Reads the token and puts its actor on the request, as the pages' middleware does for a session."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        """Return user and token; None when there is no token."""
        found: tuple[Any, Any] | None = super().authenticate(request)
        if found is not None:
            request.actor = actor_of(found[0], clock.now().date())  # type: ignore[attr-defined]
        return found

    def authenticate_credentials(self, token: bytes) -> tuple[Any, Any]:
        """Return user and token of what was sent after the scheme's word."""
        # What is no token at all would trip over decoding or the database.
        if not _TOKEN.fullmatch(token):
            raise AuthenticationFailed("That is no token. Sign in for one.")
        found: tuple[Any, Any] = super().authenticate_credentials(token)
        return found
