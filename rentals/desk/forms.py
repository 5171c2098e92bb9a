"""The booking page as the desk types it: a party, a pasted list read into its rows, a time that fits."""

from collections.abc import Mapping
from datetime import date, datetime
from itertools import count
from typing import Final
from zoneinfo import ZoneInfo

from django import forms
from django.http import QueryDict

from rentals.bookings.forms import NEW_RIDER, BookingForm
from rentals.bookings.services import MOST_RIDERS
from rentals.dayplan.services.promising import LONGEST_REASON
from rentals.desk.mapping import Pasted
from rentals.lib import measures
from rentals.lib.forms import whole_number
from rentals.lib.when import NotATime, moment

QUANTITIES: Final[Mapping[str, measures.Quantity]] = {"mass_kg": "mass", "stature_cm": "length"}


class PartyForm(BookingForm):
    """Who comes and when, why against the promise, and a list to read."""

    despite = forms.CharField(
        label="Book all the same, because",
        required=False,
        max_length=LONGEST_REASON,
        help_text="only where the shed cannot serve everybody",
    )
    pasted = forms.CharField(
        label="Paste a list",
        required=False,
        help_text="one rider a line: name, mass, stature, level, birth date … in any order",
        widget=forms.Textarea(attrs={"rows": 5, "autocomplete": "off", "spellcheck": "false"}),
    )


def with_list(data: QueryDict, pasted: list[Pasted], known: Mapping[str, str]) -> QueryDict:
    """Return what was typed with the list in its rows: empty rows first, then more of them.

    What the list says beyond a rider's fields goes into the note, and lines for which there is no row stay
    in the list, so that nothing is lost.

    Args:
        data: what was typed.
        pasted: the list, read.
        known: how the form names riders known here, by their name.
    """
    filled, left = data.copy(), list(pasted)
    rows = whole_number(str(data.get("rows", ""))) or 0
    notes = [filled.get("note", "")]
    for number in count():
        if not left or number >= MOST_RIDERS:
            break
        if number < rows and _is_touched(data, number):
            continue
        each = left.pop(0)
        fields = {"known": known[each.name]} if each.name in known else each.fields
        for name, value in fields.items():
            filled[f"riders-{number}-{name}"] = _as_they_read(name, value)
        if each.left:
            notes.append(f"{each.name}: {', '.join(each.left)}")
        rows = max(rows, number + 1)
    filled["rows"] = str(rows)
    filled["note"] = "; ".join(filter(None, notes))
    filled["pasted"] = "\n".join(
        "\t".join([*(_as_they_read(*field) for field in each.fields.items()), *each.left]) for each in left
    )
    return filled


def at_another_start(data: QueryDict, start: str) -> QueryDict:
    """Return what was typed, moved to another start and as long as before."""
    moved = data.copy()
    try:
        begin, end = (_clock(data.get(name, "")) for name in ("starts_at", "ends_at"))
        moved["ends_at"] = f"{_clock(start) + (end - begin):%H:%M}"
    except NotATime:
        return moved
    moved["starts_at"] = start
    return moved


def _as_they_read(name: str, value: str) -> str:
    """Return a field of the list as its input takes it: numbers in the reader's units."""
    quantity = QUANTITIES.get(name)
    try:
        return value if quantity is None else measures.typed(quantity, float(value))
    except ValueError:
        return value


def _is_touched(data: QueryDict, number: int) -> bool:
    return any(data.get(f"riders-{number}-{name}", "").strip() for name in ("known", *NEW_RIDER))


def _clock(written: str) -> datetime:
    return moment(date(2000, 1, 1), written, ZoneInfo("UTC"))
