"""Service records: hours to failure or to today, from the hours at which watching began."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigging.units import BadValue, FloatArray, array_in_range

MAX_HOURS: Final = 1e9
LEAST_HOURS: Final = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Records:
    """Checked service records of like items, each array (n,).

    `hours` is the age at failure, or at the end of watching where `failed` is False (right-censored);
    `entry_hours` the age at which watching began (left-truncated; 0 for items watched from new).
    """

    hours: FloatArray
    failed: NDArray[np.bool_]
    entry_hours: FloatArray

    @property
    def failures(self) -> int:
        """How many failed."""
        return int(self.failed.sum())


def records(hours: ArrayLike, failed: ArrayLike, entry_hours: ArrayLike | None = None) -> Records:
    """Return checked records.

    Raises:
        BadValue: for no records, lengths that differ, hours that are not above 0, failures that are not
            yes or no, and entries that are not before the end.
    """
    ends = _line("hours", array_in_range("hours", hours, "h", LEAST_HOURS, MAX_HOURS))
    flags = _flags(failed, len(ends))
    if entry_hours is None:
        return Records(ends, flags, np.zeros(len(ends)))
    entries = _line("entry_hours", array_in_range("entry_hours", entry_hours, "h", 0, MAX_HOURS))
    if len(entries) != len(ends):
        raise BadValue("entry_hours", len(entries), "records", f"as many as hours ({len(ends)})")
    late = entries >= ends
    if late.any():
        raise BadValue("entry_hours", float(entries[late][0]), "h", "before the record's end")
    return Records(ends, flags, entries)


def _line(name: str, values: FloatArray) -> FloatArray:
    if values.ndim != 1:
        raise BadValue(name, values.shape, "", "one row of numbers")
    return values


def _flags(failed: ArrayLike, count: int) -> NDArray[np.bool_]:
    try:
        flags = np.asarray(failed)
    except ValueError:
        raise BadValue("failed", failed, "", "one row of yes or no") from None
    if flags.ndim != 1 or len(flags) != count:
        raise BadValue("failed", flags.shape, "records", f"as many as hours ({count})")
    if flags.dtype.kind not in "biuf" or not np.isin(flags, (0, 1)).all():
        raise BadValue("failed", failed, "", "yes or no for each record")
    return flags.astype(np.bool_)
