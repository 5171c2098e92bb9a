"""Writing the journal, and doing a thing once however often it is asked."""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from rentals.audit.models import Entry, Once, Redaction
from rentals.lib.access import Act, Actor, System
from rentals.lib.problems import Refused
from rentals.lib.writes import inside_write


@dataclass(frozen=True, slots=True)
class Line:
    """What to write into the journal about one thing."""

    subject_kind: str
    subject_id: int
    text: str
    data: Mapping[str, object] | None = None


@inside_write
def record(*, actor: Actor, act: Act | System, station_id: int, lines: Iterable[Line], now: datetime) -> None:
    """Write journal lines of one act in the transaction of the change they tell of."""
    Entry.objects.bulk_create(
        Entry(
            at=now,
            actor_id=actor.user_id,
            actor_name=actor.name,
            station_id=station_id,
            act=act.value,
            subject_kind=line.subject_kind,
            subject_id=line.subject_id,
            text=line.text[:500],
            data=dict(line.data or {}),
        )
        for line in lines
    )


@inside_write
@contextmanager
def redaction(
    *, actor: Actor, station_id: int, subject_kind: str, subject_id: int, now: datetime
) -> Iterator[None]:
    """Let append-only rows be changed inside, to strike out who a person was; noted for ever."""
    row = Redaction.objects.create(
        actor_id=actor.user_id,
        station_id=station_id,
        subject_kind=subject_kind,
        subject_id=subject_id,
        begun_at=now,
    )
    yield
    Redaction.objects.filter(pk=row.pk).update(ended_at=now)


class UnableToRepeat(Refused):
    """A key was used before for something else."""

    slug = "key-reused"
    title = "This form was already used"


@dataclass(frozen=True, slots=True)
class Claim:
    """The right to do a keyed act: `result_id` is set when it was done before."""

    mark_id: int | None
    result_id: int | None


@inside_write
def claim(*, actor: Actor, act: Act | System, key: UUID | None, asked: object, now: datetime) -> Claim:
    """Claim a keyed act, waiting for a twin that is under way.

    Args:
        actor: the person asking.
        act: what is asked.
        key: the request's own key; None when the caller has none.
        asked: what was asked, so that a key cannot be reused for something else.
        now: the moment.

    Raises:
        UnableToRepeat: the key was used for another act or other values.
    """
    if key is None or actor.user_id is None:
        return Claim(mark_id=None, result_id=None)
    fingerprint = hashlib.sha256(json.dumps(asked, default=str, sort_keys=True).encode()).hexdigest()
    Once.objects.bulk_create(
        [Once(user_id=actor.user_id, key=key, act=act.value, fingerprint=fingerprint, at=now)],
        ignore_conflicts=True,
    )
    mark = Once.objects.get(user_id=actor.user_id, key=key)
    if (mark.act, mark.fingerprint) != (act.value, fingerprint):
        raise UnableToRepeat(
            "This form was already sent with other values. Reload the page and enter it again."
        )
    return Claim(mark_id=mark.pk, result_id=mark.result_id)


@inside_write
def settle(claim: Claim, result_id: int) -> None:
    """Keep what a claimed act resulted in, for its repetitions."""
    if claim.mark_id is not None:
        Once.objects.filter(pk=claim.mark_id).update(result_id=result_id)


def done_before(actor: Actor, key: str) -> int | None:
    """Return what a keyed act of this person resulted in, None when it was not done yet: one query.

    A page asks this of a form that may be sent again after its reply was lost: by then the form would be
    read against other rows than it was made of.
    """
    try:
        known = UUID(key)
    except ValueError:
        return None
    mark = None if actor.user_id is None else Once.objects.filter(user_id=actor.user_id, key=known).first()
    return mark.result_id if mark else None
