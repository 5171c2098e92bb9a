"""The months that a review looks at."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from rentals.lib.when import day_bounds

MONTHS_AT_FIRST: Final = 12
"""Months shown when nothing else is asked. Status: policy."""


@dataclass(frozen=True, slots=True)
class Period:
    """Whole months of a station's calendar, from the first day of `first` until before `after`."""

    first: date
    after: date

    @classmethod
    def of_month(cls, day: date) -> "Period":
        """The month of a day."""
        return cls(day.replace(day=1), months_on(day, 1))

    @classmethod
    def until(cls, today: date, months: int = MONTHS_AT_FIRST) -> "Period":
        """The last months, that of today among them."""
        return cls(months_on(today, 1 - months), months_on(today, 1))

    @property
    def last(self) -> date:
        """First day of the last month."""
        return months_on(self.after, -1)

    @property
    def last_day(self) -> date:
        """Its last day."""
        return self.after - timedelta(days=1)

    @property
    def months(self) -> tuple[date, ...]:
        """First days of its months."""
        count = (self.after.year - self.first.year) * 12 + self.after.month - self.first.month
        return tuple(months_on(self.first, number) for number in range(count))

    @property
    def before(self) -> "Period":
        """As many months before it."""
        return Period(months_on(self.first, -len(self.months)), self.first)

    def span(self, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """The half-open span of moments in a zone."""
        return day_bounds(self.first, zone)[0], day_bounds(self.after, zone)[0]

    def __str__(self) -> str:
        if len(self.months) == 1:
            return f"{self.first:%B %Y}"
        return f"{self.first:%b %Y} to {self.last:%b %Y}"


def months_on(day: date, count: int) -> date:
    """Return the first day of the month that is so many months on."""
    number = day.year * 12 + day.month - 1 + count
    return date(number // 12, number % 12 + 1, 1)
