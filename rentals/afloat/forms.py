"""What is typed and ticked on the beach, and what a manager sets about safety."""

from collections.abc import Container, Iterator
from typing import Any, Final

from django import forms

from rentals.afloat.models import (
    FURTHEST_M,
    MOST_CONTACTS,
    MOST_HEADS,
    MOST_INSTRUCTORS,
    WATER_C,
    WatchContact,
)
from rentals.afloat.services import (
    LONGEST_EXTENSION_MIN,
    LONGEST_NOTE,
    RANGES,
    BeachEntry,
    Contact,
    Safety,
    Seen,
)
from rentals.lib.forms import MeasureField, NumberField, OnceForm, PlainForm
from rentals.stations.models import Station
from rigging import checks, units
from rigging.checks.lists import Lines

MOST_MEAN_MS: Final = float(units.from_knots(80))
MOST_GUST_MS: Final = float(units.from_knots(100))
"""Beyond any wind in which a beach is open; a typing error. Status: policy."""


class BeachForm(OnceForm):
    """How the beach stands now; winds as the beach feels them."""

    safety_boat_manned = forms.BooleanField(label="Safety boat is manned", required=False)
    instructors = NumberField(
        label="Instructors on the beach", unit="people", low=0, high=MOST_INSTRUCTORS, decimal_places=0
    )
    mean = MeasureField(
        label="Wind, mean in {unit}", quantity="wind", low=0, high=MOST_MEAN_MS, required=False
    )
    gust = MeasureField(label="Gusts in {unit}", quantity="wind", low=0, high=MOST_GUST_MS, required=False)
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

        def number(name: str) -> float | None:
            return None if cleaned[name] is None else float(cleaned[name])

        direction = number("from_deg")
        return BeachEntry(
            safety_boat_manned=cleaned["safety_boat_manned"],
            instructors=int(cleaned["instructors"]),
            lightning=cleaned["lightning"],
            water_c=number("water_c"),
            mean_ms=number("mean"),
            gust_ms=number("gust"),
            from_deg=None if direction is None else direction % 360,
        )


class LaunchForm(OnceForm):
    """The points of a launch check as ticks, and a reason for each soft gate that is shut."""

    kit_no = forms.IntegerField(widget=forms.HiddenInput)
    list_version = forms.IntegerField(widget=forms.HiddenInput, required=False)
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

    def mark(self, changed: Container[str]) -> None:
        """Say of each point that is new, or reads otherwise than when it was ticked."""
        for key in self.keys:
            if key in changed:
                self.fields[f"point.{key}"].help_text = "New or reworded just now: look again"

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


class CountForm(OnceForm):
    """Riders counted on the water."""

    counted = forms.IntegerField(
        label="Riders on the water",
        min_value=0,
        max_value=MOST_HEADS,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "class": "short", "autocomplete": "off"}),
    )


class RecallForm(OnceForm):
    """Why everybody is called in; the tap alone is enough."""

    reason = forms.CharField(label="Why, if there is time", max_length=LONGEST_NOTE, required=False)


class SeenForm(OnceForm):
    """A rider seen: where, and whether in trouble."""

    bearing_deg = NumberField(
        label="Bearing from the station in degrees", unit="degrees", low=0, high=360, required=False
    )
    distance_m = NumberField(label="Distance in m", unit="m", low=0, high=FURTHEST_M, required=False)
    note = forms.CharField(label="Note", max_length=LONGEST_NOTE, required=False)
    in_trouble = forms.BooleanField(
        label="In trouble", required=False, help_text="raises distress at once, due or not"
    )

    def seen(self) -> Seen:
        """Return what was seen."""
        cleaned: dict[str, Any] = self.cleaned_data
        bearing, distance = cleaned["bearing_deg"], cleaned["distance_m"]
        return Seen(
            in_trouble=cleaned["in_trouble"],
            bearing_deg=None if bearing is None else float(bearing) % 360,
            distance_m=None if distance is None else float(distance),
            note=cleaned["note"],
        )


class ExtendForm(OnceForm):
    """How much longer, and why where a gate is shut."""

    minutes = NumberField(
        label="Minutes longer", unit="min", low=1, high=LONGEST_EXTENSION_MIN, decimal_places=0
    )
    reason = forms.CharField(
        label="Your reason, where the wind is over the limit", max_length=LONGEST_NOTE, required=False
    )


LABELS: Final = {
    "uncertainty_min": "Uncertainty after, in min",
    "alert_min": "Alert after, in min",
    "distress_min": "Distress after, in min",
    "cold_water_c": "Cold water under, in °C",
    "sunset_min": "Near sunset within, in min",
    "acknowledge_min": "Next contact after, in min",
    "riders_per_instructor": "Riders, boat manned",
    "riders_without_boat": "Riders, no boat manned",
}
GATES: Final = {
    "rig_fit": "The rig's parts fit each other",
    "waiver": "Waiver signed",
    "swim": "Swim statement given",
    "wind_now": "Wind now within the level's limit",
    "wind_ahead": "Forecast within the level's limit",
    "shore": "Off-shore wind only for those who may, with the boat manned",
    "safety_boat": "Safety boat manned",
    "suit": "Suit thick enough for the water",
    "instructor": "Instructor present, ratio kept",
}
"""Gates in the words of the page."""
WHOLE: Final = frozenset(RANGES) - {"cold_water_c"}


class SafetyForm(PlainForm):
    """Phases, ratios, and the gates that a reason may open."""

    def __init__(self, station: Station, data: Any = None, *, may_set: bool) -> None:
        super().__init__(data)
        for name, (low, high, unit) in RANGES.items():
            self.fields[name] = NumberField(
                label=LABELS[name],
                unit=unit,
                low=low,
                high=high,
                decimal_places=0 if name in WHOLE else 1,
                initial=getattr(station, name),
                disabled=not may_set,
            )
        for name in checks.HARD_GATES:
            if name not in checks.ALWAYS_HARD:
                self.fields[f"soft.{name}"] = forms.BooleanField(
                    label=GATES.get(name, name.replace("_", " ").capitalize()),
                    required=False,
                    initial=name in station.soft_gates,
                    disabled=not may_set,
                )

    @property
    def gates(self) -> Iterator[forms.BoundField]:
        """The ticks of the gates that may be soft."""
        return (self[name] for name in self.fields if name.startswith("soft."))

    def safety(self) -> Safety:
        """Return what was entered."""
        cleaned = self.cleaned_data
        numbers = {name: int(cleaned[name]) if name in WHOLE else float(cleaned[name]) for name in RANGES}
        soft = frozenset(
            name.removeprefix("soft.") for name in cleaned if name.startswith("soft.") and cleaned[name]
        )
        return Safety(**numbers, soft_gates=soft)  # type: ignore[arg-type]  # whole ones are whole by WHOLE


class ContactsForm(PlainForm):
    """Who is told one after the other; an empty row is nobody."""

    def __init__(self, known: list[WatchContact], data: Any = None, *, may_set: bool) -> None:
        super().__init__(data)
        for number in range(MOST_CONTACTS):
            contact = known[number] if number < len(known) else None
            for name, label, longest in (
                ("name", "Name", 80),
                ("email", "Mail", 254),
                ("phone", "Phone", 30),
            ):
                self.fields[f"contacts.{number}.{name}"] = forms.CharField(
                    label=label,
                    required=False,
                    max_length=longest,
                    initial=getattr(contact, name) if contact else "",
                    disabled=not may_set,
                )

    @property
    def rows(self) -> Iterator[list[forms.BoundField]]:
        """The inputs of each contact."""
        for number in range(MOST_CONTACTS):
            yield [self[f"contacts.{number}.{name}"] for name in ("name", "email", "phone")]

    def contacts(self) -> list[Contact]:
        """Return who was entered, in order."""
        return [contact for _number, contact in self._entered()]

    def places(self) -> dict[str, str]:
        """Return the name of the input for each field of those entered, as the service counts them."""
        return {
            f"contacts.{place}.{name}": f"contacts.{number}.{name}"
            for place, (number, _contact) in enumerate(self._entered())
            for name in ("name", "email", "phone")
        }

    def _entered(self) -> list[tuple[int, Contact]]:
        rows = [
            Contact(
                name=self.cleaned_data[f"contacts.{number}.name"],
                email=self.cleaned_data[f"contacts.{number}.email"],
                phone=self.cleaned_data[f"contacts.{number}.phone"],
            )
            for number in range(MOST_CONTACTS)
        ]
        return [(number, row) for number, row in enumerate(rows) if row.name or row.email or row.phone]


class HookForm(PlainForm):
    """Where alarms are posted to."""

    url = forms.CharField(
        label="Address",
        max_length=300,
        help_text="https, on the public network",
        widget=forms.TextInput(attrs={"inputmode": "url", "autocomplete": "off"}),
    )
