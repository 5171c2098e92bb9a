"""What is typed at the bench: how kit came back, faults, and what mended them."""

from collections.abc import Sequence
from typing import Any

from django import forms

from rentals.bench.services import Came
from rentals.bookings.models import KitPart
from rentals.lib.forms import NumberField, OnceForm, PlainForm


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
