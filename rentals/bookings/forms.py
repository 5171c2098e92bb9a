"""A booking as the desk types it: the party, the time, and a row for each rider."""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from rentals.bookings.models import Booking
from rentals.bookings.services import MOST_RIDERS, Contact
from rentals.lib.forms import MomentForm, OnceForm, whole_number
from rentals.lib.problems import Refused
from rentals.people.forms import RiderFields
from rentals.people.services import RiderFacts

FIRST_ROWS = 2
NEW_RIDER = ("name", "born_on", "mass_kg", "stature_cm", "phone", "guardian_name", "guardian_phone")
"""Fields that say a new rider is meant; the others come with a value of their own."""
_NUMBERED = re.compile(r"#(\d+)\s*$")


class BookingForm(MomentForm, OnceForm):
    """Who comes and when; the rows of riders are `RiderRows`."""

    contact_name = forms.CharField(label="Contact", max_length=120)
    contact_phone = forms.CharField(
        label="Phone", max_length=30, required=False, help_text="this or an email is needed"
    )
    contact_email = forms.EmailField(label="Email", required=False)
    kind = forms.ChoiceField(label="What", choices=Booking.Kind.choices)
    day = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    starts_at = forms.CharField(label="From", max_length=12, help_text="such as 14:30")
    ends_at = forms.CharField(label="Until", max_length=12)
    note = forms.CharField(label="Note for the desk", max_length=300, required=False)

    def clean(self) -> dict[str, Any]:
        """Ask for a way to reach the party together with everything else that is missing."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if not (
            cleaned.get("contact_phone") or cleaned.get("contact_email") or "contact_email" in self.errors
        ):
            self.add_error("contact_phone", "Enter a phone number or an email, so that you can reach them.")
        return cleaned

    def contact(self) -> Contact:
        """Return who speaks for the party."""
        cleaned = self.cleaned_data
        return Contact(
            name=cleaned["contact_name"], phone=cleaned["contact_phone"], email=cleaned["contact_email"]
        )

    def span(self, zone: ZoneInfo) -> tuple[datetime, datetime] | None:
        """Return from when until when; None when one of them names no moment, which is said beside it."""
        start = self.moment_of("day", "starts_at", zone)
        end = self.moment_of("day", "ends_at", zone)
        return None if start is None or end is None else (start, end)


class RiderRow(RiderFields):
    """One rider of a booking: somebody known here, picked by name, or somebody new."""

    known = forms.CharField(
        label="Known here",
        required=False,
        help_text="Pick a name, or leave empty and enter a new rider",
        widget=forms.TextInput(attrs={"list": "known-riders", "autocomplete": "off"}),
    )
    field_order = ("known",)

    def clean_known(self) -> int | None:
        """Return the rider's number from the end of the picked name."""
        picked = self.cleaned_data["known"]
        if not picked:
            return None
        if any(map(self.typed, NEW_RIDER)):
            raise forms.ValidationError("Pick a known rider or enter a new one, not both in one row.")
        numbered = _NUMBERED.search(picked)
        number = whole_number(numbered[1]) if numbered else None
        if number is None:
            raise forms.ValidationError("Pick a name from the list, or leave this empty.")
        return number

    def full_clean(self) -> None:
        """Clean; a known rider's facts are on record, so none of a new rider's are asked for."""
        super().full_clean()
        if self.is_bound and self.data.get(self.add_prefix("known"), "").strip():
            for name in [name for name in self.errors if name != "known"]:
                del self.errors[name]

    def rider(self) -> RiderFacts | int:
        """Return the known rider's number, or the new one's facts."""
        known: int | None = self.cleaned_data["known"]
        return self.facts() if known is None else known

    @property
    def touched(self) -> bool:
        """Whether anything was typed into the row."""
        return bool(self.typed("known")) or any(map(self.typed, NEW_RIDER))

    def typed(self, name: str) -> str:
        """What was typed into a field."""
        return str(self.data.get(self.add_prefix(name), "")).strip()


class RiderRows:
    """The rows of a booking. Empty rows are left out; at least one must be filled."""

    def __init__(self, data: Mapping[str, str] | None, *, more: bool = False) -> None:
        count = FIRST_ROWS
        asked = None if data is None else whole_number(data.get("rows", ""))
        if asked is not None:
            count = min(asked + (FIRST_ROWS if more else 0), MOST_RIDERS)
        rows = [RiderRow(data, prefix=f"riders-{number}") for number in range(count)]
        # A row that nobody touched is not asked what it lacks; nor is any row when more are asked for.
        self.bound = data is not None and not more
        first_is_needed = self.bound and not any(row.touched for row in rows)
        self.forms = [
            row if row.touched or (first_is_needed and row is rows[0]) else RiderRow(prefix=row.prefix)
            for row in rows
        ]

    @property
    def filled(self) -> Sequence[RiderRow]:
        """Rows in which something was typed; the first when none is."""
        return [row for row in self.forms if row.is_bound]

    def is_valid(self) -> bool:
        """Whether every filled row holds together; all are looked at, so that all errors show at once."""
        for row in self.filled:
            row.full_clean()
        return all(row.is_valid() for row in self.filled)

    def riders(self) -> list[RiderFacts | int]:
        """Return the riders, in the order of their rows."""
        return [row.rider() for row in self.filled]

    def refuse(self, refused: Refused) -> bool:
        """Put what is said of `riders.N.field` beside its input; say whether any was."""
        placed = False
        for name, sentence in refused.fields.items():
            which, _, field = name.removeprefix("riders.").partition(".")
            if name.startswith("riders.") and which.isdigit():
                self.filled[int(which)].add_error("known" if field == "rider" else field, sentence)
                placed = True
        return placed

    @property
    def errors(self) -> list[tuple[str, str, str]]:
        """Errors as (id of the input, label, sentence), for the summary."""
        return [
            (row[name].id_for_label, f"Rider {number}, {row.fields[name].label}", str(sentences[0]))
            for number, row in enumerate(self.forms, start=1)
            if self.bound and row in self.filled
            for name, sentences in row.errors.items()
        ]


def initial(day: datetime, **known: Any) -> dict[str, Any]:
    """Return what a fresh booking starts with: today, from the next full hour for two."""
    start = day.hour + 1
    return {
        "day": day.date(),
        "starts_at": f"{start:02d}:00",
        "ends_at": f"{min(start + 2, 23):02d}:00",
        **known,
    }
