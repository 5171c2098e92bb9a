"""The beach log as it is typed, and the launch check as it is ticked."""

from typing import Any

from django import forms

from rentals.afloat.models import MOST_INSTRUCTORS, WATER_C
from rentals.afloat.services import BeachEntry
from rentals.lib.forms import NumberField, OnceForm, PlainForm
from rigging import checks, units
from rigging.checks.lists import Lines


class BeachForm(PlainForm):
    """How the beach stands now; winds in knots as the beach feels them."""

    safety_boat_manned = forms.BooleanField(label="Safety boat is manned", required=False)
    instructors = NumberField(
        label="Instructors on the beach", unit="people", low=0, high=MOST_INSTRUCTORS, decimal_places=0
    )
    mean = NumberField(label="Wind, mean in kn", unit="kn", low=0, high=80, required=False)
    gust = NumberField(label="Gusts in kn", unit="kn", low=0, high=100, required=False)
    from_deg = NumberField(label="From, in degrees", unit="degrees", low=0, high=360, required=False)
    water_c = NumberField(label="Water in °C", unit="°C", low=WATER_C[0], high=WATER_C[1], required=False)
    lightning = forms.BooleanField(
        label="Lightning seen or thunder heard just now",
        required=False,
        help_text="holds every launch for half an hour",
    )

    def entry(self) -> BeachEntry:
        """Return what was entered, in SI units."""
        cleaned: dict[str, Any] = self.cleaned_data

        def speed(name: str) -> float | None:
            return None if cleaned[name] is None else float(units.from_knots(float(cleaned[name])))

        def number(name: str) -> float | None:
            return None if cleaned[name] is None else float(cleaned[name])

        direction = number("from_deg")
        return BeachEntry(
            safety_boat_manned=cleaned["safety_boat_manned"],
            instructors=int(cleaned["instructors"]),
            lightning=cleaned["lightning"],
            water_c=number("water_c"),
            mean_ms=speed("mean"),
            gust_ms=speed("gust"),
            from_deg=None if direction is None else direction % 360,
        )


class LaunchForm(OnceForm):
    """The points of a launch check as ticks, and a reason for each soft gate that is shut."""

    kit_no = forms.IntegerField(widget=forms.HiddenInput)
    note = forms.CharField(label="Note", max_length=300, required=False)

    def __init__(self, points: Lines, shut: list[checks.Gate], data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.keys = [key for key, _ in points]
        self.soft = [gate.name for gate in shut if not gate.hard]
        for key, text in points:
            self.fields[f"point.{key}"] = forms.BooleanField(label=text, required=False)
        for gate in shut:
            if not gate.hard:
                self.fields[f"override.{gate.name}"] = forms.CharField(
                    label=gate.text,
                    required=False,
                    max_length=200,
                    help_text="Your reason to let them go all the same",
                )

    @property
    def points(self) -> list[forms.BoundField]:
        """The ticks, in the order of the list."""
        return [self[f"point.{key}"] for key in self.keys]

    @property
    def reasons(self) -> list[forms.BoundField]:
        """The inputs for reasons."""
        return [self[f"override.{name}"] for name in self.soft]

    @property
    def ticked(self) -> frozenset[str]:
        """Keys of the points that passed."""
        return frozenset(key for key in self.keys if self.cleaned_data[f"point.{key}"])

    @property
    def overrides(self) -> dict[str, str]:
        """Reasons by gate."""
        return {name: self.cleaned_data[f"override.{name}"] for name in self.soft}
