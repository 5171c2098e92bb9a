"""The state machine of a bench job, as a table."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final


class JobState(StrEnum):
    """Where a bench job is."""

    OPEN = "open"
    MENDED = "mended"
    RELEASED = "released"
    WITHDRAWN = "withdrawn"


class JobEvent(StrEnum):
    """What happens to a bench job."""

    MEND = "mend"
    RELEASE = "release"
    REOPEN = "reopen"
    WITHDRAW = "withdraw"


MOVES: Final[Mapping[tuple[JobState, JobEvent], JobState]] = {
    (JobState.OPEN, JobEvent.MEND): JobState.MENDED,
    (JobState.MENDED, JobEvent.RELEASE): JobState.RELEASED,
    (JobState.MENDED, JobEvent.REOPEN): JobState.OPEN,
    (JobState.OPEN, JobEvent.WITHDRAW): JobState.WITHDRAWN,
    (JobState.MENDED, JobEvent.WITHDRAW): JobState.WITHDRAWN,
}
UNFINISHED: Final = (JobState.OPEN, JobState.MENDED)

OCCASIONS: Final = ("weekly", "periodic", "renewal")
"""As `rigging.wear.Occasion`, which would load more than a row needs."""

GRACE_DAYS: Final = 1
"""As `rigging.wear.inspection.DEFAULT_GRACE_DAYS`."""
