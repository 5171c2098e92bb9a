"""A small client that speaks JSON, with a token once it has one."""

from typing import Any
from uuid import UUID

from django.test import Client
from knox.models import AuthToken

from rentals.people.models import User

ROOT = "/api/v1"


class Answer:
    """What came back."""

    def __init__(self, response: Any) -> None:
        self.status: int = response.status_code
        self.headers = response.headers
        self.content: bytes = response.content
        self.said: Any = response.json() if response.content else None

    @property
    def blamed(self) -> dict[str, str]:
        """Sentences by JSON pointer or parameter."""
        return {at.get("pointer", at.get("parameter")): at["detail"] for at in self.said.get("errors", ())}


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
