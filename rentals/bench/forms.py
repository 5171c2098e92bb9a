"""What is typed at the bench: how kit came back, faults, what mended them, and what inspections found."""

from collections.abc import Sequence
from typing import Any

from django import forms

from rentals.bench.formats.photos import LARGEST_BYTES
from rentals.bench.mapping import Due
from rentals.bench.models import (
    MOST_CARRIED_KG,
    MOST_COST,
    MOST_GRACE_DAYS,
    MOST_MINUTES,
    JobLine,
    Setting,
)
from rentals.bench.queries import DueRow, ReturnSheet, models_at
from rentals.bench.services import INTERVALS, Came, Found, Note
from rentals.bookings.models import KitPart
from rentals.fleet.formats import shed as sheets
from rentals.fleet.models import Kind
from rentals.lib.forms import NumberField, OnceForm, PlainForm
from rentals.stations.models import Station
from rigging.wear import planned

ReturnRow = tuple[KitPart, tuple[str, ...], forms.BoundField, forms.BoundField, forms.BoundField]


class ReturnForm(OnceForm):
    """Each item that is out: back or not, rinsed, and what is wrong with it."""

    all_back = forms.BooleanField(label="Everything is back, looked over and counted", required=False)
    all_rinsed = forms.BooleanField(label="Everything is rinsed", required=False)
    felt = forms.ChoiceField(
        label="How did the sail feel?",
        choices=[
            ("", "not asked"),
            ("under", "under: too small"),
            ("right", "right"),
            ("over", "over: too big"),
        ],
        required=False,
    )
    stays_rigged = forms.BooleanField(label="The rig stays built for the next rider", required=False)
    note = forms.CharField(label="Note", max_length=300, required=False)
    list_version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, sheet: ReturnSheet, data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, initial={"list_version": sheet.listed.version}, **kwargs)
        self.sheet = sheet
        for part in sheet.out:
            pk = part.item_id
            self.fields[f"back_{pk}"] = forms.BooleanField(label="Back", required=False)
            self.fields[f"rinsed_{pk}"] = forms.BooleanField(label="Rinsed", required=False)
            self.fields[f"fault_{pk}"] = forms.CharField(
                label=f"Fault of {part.item.tag}",
                max_length=300,
                required=False,
                help_text="leave empty when whole",
            )

    @property
    def rows(self) -> list[ReturnRow]:
        """Each part with what to look at and its three inputs."""
        return [
            (
                part,
                self.sheet.look_at(part.part),
                self[f"back_{part.item_id}"],
                self[f"rinsed_{part.item_id}"],
                self[f"fault_{part.item_id}"],
            )
            for part in self.sheet.out
        ]

    def lines(self) -> list[Came]:
        """Return how each item came back."""
        cleaned = self.cleaned_data
        return [
            Came(
                item_id=part.item_id,
                back=cleaned["all_back"] or cleaned[f"back_{part.item_id}"],
                rinsed=cleaned["all_rinsed"] or cleaned[f"rinsed_{part.item_id}"],
                fault=cleaned[f"fault_{part.item_id}"],
            )
            for part in self.sheet.out
        ]


class FaultForm(OnceForm):
    """A fault found in the shed."""

    fault = forms.CharField(label="What is wrong with it?", max_length=300)


class MendForm(PlainForm):
    """What was done about a fault."""

    work = forms.CharField(label="What was done?", max_length=300)
    minutes = NumberField(label="Minutes", unit="minutes", low=0, high=6000, required=False, decimal_places=0)


class WithdrawForm(PlainForm):
    """Why an item is withdrawn."""

    reason = forms.CharField(label="Why is it withdrawn?", max_length=300)


class RackForm(OnceForm):
    """The items of a kind that were looked over and are in order."""

    def __init__(self, rows: Sequence[DueRow], data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.rows, self.name = rows, rows[0].due.name
        self.points = rows[0].due.planned.points
        for row in rows:
            held = ", held back" if row.held else ""
            self.fields[f"item_{row.item.pk}"] = forms.BooleanField(
                label=f"{row.item.tag} {row.item.model.name}",
                help_text=f"{_since(row)}{held}",
                required=False,
            )

    @property
    def ticks(self) -> list[forms.BoundField]:
        """A box for each item."""
        return [self[f"item_{row.item.pk}"] for row in self.rows]

    def chosen(self) -> list[int]:
        """Return the items that were ticked."""
        return [row.item.pk for row in self.rows if self.cleaned_data[f"item_{row.item.pk}"]]


def _since(row: DueRow) -> str:
    last = row.due.last
    return "not looked over yet" if last is None else f"last {last.at:%-d %b}"


class InspectForm(OnceForm):
    """One inspection of an item: each point, the float test where there is one, and what is wrong."""

    defects = forms.CharField(
        label="What is wrong with it?",
        max_length=300,
        required=False,
        help_text="leave empty when everything is in order; a defect takes it to the bench",
    )
    note = forms.CharField(label="Note", max_length=300, required=False)

    def __init__(self, due: Due, data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.due = due
        for number, point in enumerate(due.planned.points):
            self.fields[f"point_{number}"] = forms.BooleanField(label=point, required=False)
        if any("float test" in point.lower() for point in due.planned.points):
            self.fields["carried_kg"] = NumberField(
                label="Mass that it just carried in the float test",
                unit="kg",
                low=0,
                high=MOST_CARRIED_KG,
                required=False,
                help_text="in kg, weighed in water",
            )

    @property
    def ticks(self) -> list[forms.BoundField]:
        """A box for each point."""
        return [self[f"point_{number}"] for number in range(len(self.due.planned.points))]

    @property
    def test(self) -> forms.BoundField | None:
        """The input of the float test."""
        return self["carried_kg"] if "carried_kg" in self.fields else None

    def found(self) -> Found:
        """Return what was found."""
        cleaned = self.cleaned_data
        carried = cleaned.get("carried_kg")
        return Found(
            in_order=frozenset(
                number for number in range(len(self.due.planned.points)) if cleaned[f"point_{number}"]
            ),
            defects=cleaned["defects"],
            carried_kg=None if carried is None else float(carried),
            note=cleaned["note"],
        )


class ReleaseHeldForm(PlainForm):
    """Why an item may go out again."""

    because = forms.CharField(label="What was done?", max_length=200)


class SettingForm(PlainForm):
    """What a station settles about its bench."""

    grace_days = forms.IntegerField(
        label="Days of grace",
        min_value=0,
        max_value=MOST_GRACE_DAYS,
        help_text="after which an item past its inspection is held back by itself",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "class": "short"}),
    )
    released_by = forms.ChoiceField(label="Who releases what was held back", choices=Setting.Releaser.choices)


def _inspections() -> list[tuple[str, list[tuple[str, str]]]]:
    return [
        (
            kind.replace("_", " "),
            [(f"{kind}:{each.rule.name}", each.rule.name) for each in planned(kind.replace("_", " "))],
        )
        for kind in Kind.values
    ]


class IntervalForm(PlainForm):
    """The intervals of one inspection, for a kind or one model of it."""

    inspection = forms.ChoiceField(label="Inspection", choices=_inspections)
    model = forms.ChoiceField(label="Model", required=False)
    every_hours = NumberField(label="Water hours", unit="hours", low=1, high=10_000, required=False)
    every_rig_ups = NumberField(label="Rig-ups", unit="rig-ups", low=1, high=10_000, required=False)
    every_sun_hours = NumberField(label="Sun hours", unit="hours", low=1, high=10_000, required=False)
    every_days = NumberField(label="Days", unit="days", low=1, high=10_000, required=False)

    def __init__(self, data: Any = None, *, station: Station, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        models = [(str(each.pk), f"{each.kind.replace('_', ' ')}: {each}") for each in models_at(station)]
        self.fields["model"].choices = [("", "all of the kind"), *models]  # type: ignore[attr-defined]

    def asked(self) -> dict[str, Any]:
        """Return what is to be settled, as the service takes it."""
        cleaned = self.cleaned_data
        kind, _, name = cleaned["inspection"].partition(":")
        every = {column: None if cleaned[column] is None else float(cleaned[column]) for column in INTERVALS}
        model_id = int(cleaned["model"]) if cleaned["model"] else None
        return {"kind": kind, "model_id": model_id, "name": name, "every": every}


class NoteForm(OnceForm):
    """One line on a job."""

    kind = forms.ChoiceField(label="What", choices=JobLine.Kind.choices)
    text = forms.CharField(
        label="Found, done, which part, or which workshop", max_length=300, help_text="in a few words"
    )
    minutes = NumberField(
        label="Minutes", unit="minutes", low=0, high=MOST_MINUTES, required=False, decimal_places=0
    )
    cost = NumberField(label="Cost", unit="money", low=0, high=MOST_COST, required=False, decimal_places=2)
    due_on = forms.DateField(
        label="Back from the workshop on",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )

    def note(self) -> Note:
        """Return what is noted."""
        cleaned = self.cleaned_data
        minutes = cleaned["minutes"]
        return Note(
            kind=cleaned["kind"],
            text=cleaned["text"],
            minutes=None if minutes is None else int(minutes),
            cost=cleaned["cost"],
            due_on=cleaned["due_on"],
        )


class PhotoForm(OnceForm):
    """A photo of a fault."""

    photo = forms.FileField(
        label="Photo",
        max_length=200,
        help_text=f"JPEG, PNG or WebP, at most {LARGEST_BYTES // 2**20} MB; place and time are not kept",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )

    def content(self) -> bytes:
        """Return what was sent; what is too large is read no further than it takes to know."""
        content: bytes = self.cleaned_data["photo"].read(LARGEST_BYTES + 1)
        return content


class SheetForm(OnceForm):
    """A sheet of the shed, as a file or, once it was looked at, as the text that came."""

    file = forms.FileField(
        label="CSV file",
        required=False,
        max_length=200,
        help_text="comma, semicolon or tab; UTF-8, UTF-16 or Western European; at most 2 MB",
        widget=forms.FileInput(attrs={"accept": ".csv,text/csv,text/plain"}),
    )
    sheet = forms.CharField(required=False, strip=False, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        """Read the file where one was sent."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        sent = cleaned.get("file")
        if sent is not None:
            try:
                cleaned["sheet"] = sheets.decoded(sent.read(sheets.LARGEST_BYTES + 1))
            except sheets.UnreadableSheet as problem:
                self.add_error("file", str(problem))
        elif not cleaned.get("sheet") and "file" not in self.errors:
            self.add_error("file", "Choose the file.")
        return cleaned

    def text(self) -> str:
        """Return the sheet's text."""
        text: str = self.cleaned_data["sheet"]
        return text


class RecallForm(OnceForm):
    """Which model, or which batch of it, is called back and why."""

    model = forms.ChoiceField(label="Model")
    batch = forms.CharField(
        label="Batch",
        max_length=40,
        required=False,
        help_text="leave empty to call every one of the model back",
    )
    reason = forms.CharField(label="Why is it called back?", max_length=300)
    maker = forms.CharField(label="Maker", max_length=120, required=False, help_text="for the letter")

    def __init__(self, data: Any = None, *, station: Station, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        models = [(str(each.pk), f"{each.kind.replace('_', ' ')}: {each}") for each in models_at(station)]
        self.fields["model"].choices = models  # type: ignore[attr-defined]


class EndRecallForm(PlainForm):
    """Why a recall ends."""

    because = forms.CharField(label="Why does it end?", max_length=300)
