"""Striking words out of every text of every table."""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db import models
from django.db.models import Q, TextField
from django.db.models.functions import Cast

from rentals.audit.models import Entry
from rentals.bookings.models import Party
from rentals.lib.writes import inside_write
from rentals.people.models import Rider, User
from rentals.privacy import queries

GONE: Final = "erased"
SHORTEST: Final = 5
"""Shorter words are not sought everywhere: they stand in others. Policy."""

OWN_COLUMNS: Final = (Rider, Party, User)
"""Tables whose names are somebody's own: of the rider's rows they are blanked one by one."""


@dataclass(frozen=True, slots=True)
class Secret:
    """A word to strike out, what stands for it, and whether it is sought in rows about others too."""

    word: str
    stands_for: str
    everywhere: bool

    @property
    def is_sought(self) -> bool:
        """Whether it is long enough to mean only the rider wherever it stands."""
        return self.everywhere and len(self.word) >= SHORTEST


@inside_write
def scrub(secrets: Sequence[Secret], found: queries.Reach) -> None:
    """Strike secrets out of rows about the rider, and those that mean nobody else out of every row."""
    sought = [secret for secret in secrets if secret.is_sought]
    for model in queries.our_models():
        if model in OWN_COLUMNS:
            continue
        about = Q(pk__in=found.rows.get(model, ()))
        if model is Entry:
            about |= found.subjects()
        for field in queries.text_fields(model):
            _strike(model, field, about, secrets)
            _strike(model, field, Q(), sought)


@inside_write
def _strike(
    model: type[models.Model], field: "models.Field[Any, Any]", rows: Q, secrets: Sequence[Secret]
) -> None:
    if not secrets:
        return
    held = Q()
    for secret in secrets:
        held |= Q(as_text__icontains=secret.word)
        # SQLite keeps JSON as it was written, with letters beyond ASCII escaped.
        held |= Q(as_text__icontains=json.dumps(secret.word)[1:-1])
    found = model._base_manager.filter(rows).annotate(as_text=Cast(field.name, TextField())).filter(held)
    for key, value in list(found.values_list("pk", field.name)):
        struck = struck_out(value, secrets)
        if isinstance(struck, str) and field.max_length:
            struck = struck[: field.max_length]
        if struck != value:
            model._base_manager.filter(pk=key).update(**{field.name: struck})


def struck_out(value: Any, secrets: Sequence[Secret]) -> Any:
    """Return a text, or JSON with every text in it, without the secrets."""
    if isinstance(value, str):
        for secret in secrets:
            value = re.sub(re.escape(secret.word), secret.stands_for, value, flags=re.IGNORECASE)
        return value
    if isinstance(value, list):
        return [struck_out(each, secrets) for each in value]
    if isinstance(value, dict):
        return {struck_out(key, secrets): struck_out(each, secrets) for key, each in value.items()}
    return value
