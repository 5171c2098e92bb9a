"""What came of asking a source, and when to ask again: apart from the asking, whose library loads slowly."""

import math
import zlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, Literal

# Policy: how hard a source that fails is asked again.
FIRST_WAIT: Final = timedelta(minutes=1)
LONGEST_WAIT: Final = timedelta(hours=1)
LONGEST_OBEYED: Final = timedelta(days=1)
"""The most that an answer's own times may keep us from asking again."""
JITTER: Final = 0.25
"""Up to this share is added to a wait, so that stations don't all ask at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fetched:
    """What came of one fetch.

    `body` is there when the status is new. `etag` and `last_modified` are to be kept and sent the next time;
    after a failure they are those that were passed in. `error` is a sentence when the status is failed, and
    `warning` one about an answer that is good for now. `retry_after_s` is how long it asks to be left.
    """

    status: Literal["new", "unchanged", "failed"]
    body: bytes | None = None
    etag: str | None = None
    last_modified: str | None = None
    expires_at: datetime | None = None
    error: str | None = None
    warning: str | None = None
    retry_after_s: float | None = None


def next_try_at(
    now: datetime, failures: int, retry_after_s: float | None = None, *, seed: int | str
) -> datetime:
    """When to ask again after so many failures in a row (at least 1): waits double from a minute to an hour.

    The wait is never less than the source asks for, up to a day. `seed` (say, the source's id) fixes the
    jitter, so the same inputs give the same answer.
    """
    doublings = min(max(failures, 1) - 1, math.ceil(math.log2(LONGEST_WAIT / FIRST_WAIT)))
    wait = min(FIRST_WAIT * (1 << doublings), LONGEST_WAIT)
    asked = min(max(retry_after_s or 0, 0), LONGEST_OBEYED.total_seconds())
    wait = max(wait, timedelta(seconds=asked))
    share = zlib.crc32(f"{seed}:{failures}".encode()) / 2**32
    return now + wait * (1 + JITTER * share)
