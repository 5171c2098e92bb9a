"""Signing in for a token, throttled as the pages are, and giving it back."""

from collections.abc import Mapping
from datetime import timedelta
from http import HTTPStatus
from typing import Any

from axes.helpers import get_cool_off
from django.contrib.auth import authenticate
from django.contrib.auth.signals import user_logged_in
from rest_framework import serializers
from rest_framework.response import Response

from api import services
from api.endpoint import Asked, Endpoint
from api.schema import operation
from api.shapes import In, Moment, Out, Text
from rentals.lib.problems import Refused
from rentals.people.models import User


class UnableToSignIn(Refused):
    """Name and password do not go together."""

    status = HTTPStatus.UNAUTHORIZED
    slug = "sign-in-refused"
    title = "Check name and password"


class LockedOut(Refused):
    """Too many wrong passwords for a name from one address."""

    status = HTTPStatus.TOO_MANY_REQUESTS
    slug = "locked-out"
    title = "Too many tries"

    def __init__(self, sentence: str, *, wait: timedelta | None) -> None:
        super().__init__(sentence)
        self.headers = {} if wait is None else {"Retry-After": str(int(wait.total_seconds()))}


class Credentials(In):
    """What a person signs in with."""

    username = Text(most=150)
    password = Text(most=1000, trim_whitespace=False)


class Token(Out):
    """A token, shown this once."""

    token = serializers.CharField(help_text="Send it as `Authorization: Token …`.")
    name = serializers.CharField(help_text="Whose it is.")
    expires_at = Moment()


class Tokens(Endpoint):
    """Tokens of whoever signs in."""

    authentication_classes = ()
    permission_classes = ()

    @operation("sign_in", Token, status=HTTPStatus.CREATED, body=Credentials)
    def post(self, request: Asked) -> Response:
        """Sign in for a token."""
        user = self._signed_in(self.body(Credentials))
        token, end = services.give_token(user)
        user_logged_in.send(sender=User, request=request._request, user=user)
        said = {"token": token, "name": user.shown_name, "expires_at": end}
        return self.say(Token, said, HTTPStatus.CREATED)

    def _signed_in(self, credentials: Mapping[str, Any]) -> User:
        """Return who name and password belong to.

        Raises:
            UnableToSignIn, LockedOut: to nobody; or too many tries were wrong.
        """
        plain = self.request._request
        user = authenticate(plain, **credentials)
        if getattr(plain, "axes_locked_out", False):
            # Its middleware would put the pages' HTML in place of the problem.
            plain.axes_locked_out = False  # type: ignore[attr-defined]
            wait = get_cool_off(plain)
            raise LockedOut(
                "Too many wrong passwords. Wait an hour, or ask the station's manager.", wait=wait
            )
        if not isinstance(user, User):
            raise UnableToSignIn("Name and password do not go together. Check both.")
        return user


class CurrentToken(Endpoint):
    """The token a request is made with."""

    @operation("sign_out", status=HTTPStatus.NO_CONTENT)
    def delete(self, request: Asked) -> Response:
        """Give the token back; it is of no use from then on."""
        services.take_token(request.auth)
        return Response(status=HTTPStatus.NO_CONTENT)
