"""What is typed at the bench: how kit came back, faults, what mended them, and what inspections found."""

from collections.abc import Sequence
from typing import Any

from django import forms

from rentals.bench.mapping import Due
from rentals.bench.models import MOST_CARRIED_KG, MOST_GRACE_DAYS, Setting
from rentals.bench.queries import DueRow, models_at
from rentals.bench.services import INTERVALS, Came, Found
from rentals.bookings.models import KitPart
from rentals.fleet.models import Kind
from rentals.lib.forms import NumberField, OnceForm, PlainForm
from rentals.stations.models import Station
from rigging.wear import planned


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

    def __init__(self, out: Sequence[KitPart], data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.out = out
        for part in out:
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
    def rows(self) -> list[tuple[KitPart, forms.BoundField, forms.BoundField, forms.BoundField]]:
        """Each part with its three inputs."""
        return [
            (
                part,
                self[f"back_{part.item_id}"],
                self[f"rinsed_{part.item_id}"],
                self[f"fault_{part.item_id}"],
            )
            for part in self.out
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
            for part in self.out
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
    currency = forms.CharField(
        label="Currency of costs",
        max_length=3,
        help_text="three letters, such as EUR",
        widget=forms.TextInput(attrs={"class": "short"}),
    )


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
