"""What is typed on the review's pages: the months looked at, and what kit costs."""

from datetime import date
from typing import Any

from django import forms

from rentals.lib.forms import NumberField, PlainForm
from rentals.review.mapping.period import Period, months_on
from rentals.review.models import ModelCost

FIRST_YEAR, LAST_YEAR, MOST_MONTHS = 2000, 2100, 120


class MonthField(forms.DateField):
    """A month written as 2027-07; its value is the month's first day."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(input_formats=["%Y-%m"], required=False, **kwargs)
        self.widget = forms.DateInput(format="%Y-%m", attrs={"type": "month", "class": "short"})
        self.error_messages["invalid"] = "Enter a month such as 2027-07."

    def validate(self, value: date | None) -> None:
        super().validate(value)
        if value is not None and not FIRST_YEAR <= value.year <= LAST_YEAR:
            raise forms.ValidationError(f"Enter a month between {FIRST_YEAR} and {LAST_YEAR}.")


class PeriodForm(PlainForm):
    """From which month until which; the last twelve where nothing is asked."""

    since = MonthField(label="From")
    until = MonthField(label="Until")

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        since, until = said.get("since"), said.get("until")
        if since and until and not since <= until < months_on(since, MOST_MONTHS):
            self.add_error("until", f"Enter a month after the first, {MOST_MONTHS // 12} years on at most.")
        return said

    def period(self, today: date) -> Period:
        """Return the months asked for; the usual ones where they cannot be read."""
        usual = Period.until(today)
        if not self.is_bound or not self.is_valid():
            return usual
        since, until = self.cleaned_data["since"], self.cleaned_data["until"]
        after = months_on(until, 1) if until else max(usual.after, months_on(since or usual.first, 1))
        return Period(since or months_on(after, -len(usual.months)), after)


class CostForm(PlainForm):
    """What a new one costs, and one fault of it."""

    new_cost = NumberField(label="A new one costs", unit="money", low=0.01, high=1_000_000)
    fault_cost = NumberField(
        label="One fault costs",
        unit="money",
        low=0.01,
        high=1_000_000,
        help_text="mending, hours not rented, a call out: on average",
    )

    @classmethod
    def of(cls, cost: ModelCost | None, data: Any = None) -> "CostForm":
        """Return the form with what is set."""
        known = {} if cost is None else {"new_cost": cost.new_cost, "fault_cost": cost.fault_cost}
        return cls(data, initial=known)
