"""Refusals: what a service says when it will not do a thing, in words that tell the person what to do."""

from collections.abc import Mapping
from typing import ClassVar


class Refused(Exception):
    """A service's answer 'no', with a sentence to show and, where it can, the field it is about.

    Pages put `fields` beside the inputs and `sentence` at the top; the API answers with `status` and `slug`.
    """

    status: ClassVar[int] = 422
    slug: ClassVar[str] = "refused"
    title: ClassVar[str] = "That cannot be done"

    def __init__(self, sentence: str, *, fields: Mapping[str, str] | None = None) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.fields = dict(fields or {})

    @classmethod
    def at(cls, field: str, sentence: str) -> "Refused":
        """Return the refusal that is about one field."""
        return cls(sentence, fields={field: sentence})


class NotVisible(Refused):
    """The thing does not exist, or not for this person: both look the same from outside."""

    status = 404
    slug = "not-found"
    title = "Not found"


class NotAllowed(Refused):
    """The person sees the thing but their role here does not cover the act."""

    status = 403
    slug = "not-allowed"
    title = "Not allowed"


class Conflict(Refused):
    """Somebody else was first, or the state has moved on."""

    status = 409
    slug = "conflict"
    title = "It has changed meanwhile"
