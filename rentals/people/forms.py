"""What is typed about a rider, cleaned."""

from collections.abc import Mapping
from typing import Any, Final

from django import forms

from rentals.lib.access import Role
from rentals.lib.forms import MeasureField, NumberField, PlainForm
from rentals.lib.show import CHOICES, kn
from rentals.people.models import MASS_KG, STATURE_CM, MedicalNote, Rider
from rentals.people.services import MEDICAL_NOTE, MEDICAL_WORDING, RiderFacts, StaffFacts
from rentals.stations.models import LEVELS, Station
from rentals.stations.services import StationFacts
from rigging import units

LIMIT_MS: Final = (float(units.from_knots(1)), float(units.from_knots(58)))
"""What a wind limit may be; the service has the last word. Status: policy."""


class RiderFields(PlainForm):
    """The fields of a rider, alone or as one row of a booking."""

    name = forms.CharField(
        label="Name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    born_on = forms.DateField(
        label="Born on", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    mass_kg = MeasureField(
        label="Mass in {unit}", quantity="mass", low=MASS_KG[0], high=MASS_KG[1], decimals=1
    )
    stature_cm = MeasureField(
        label="Stature in {unit}", quantity="length", low=STATURE_CM[0], high=STATURE_CM[1], decimals=0
    )
    level = forms.ChoiceField(label="Level", choices=LEVELS)
    swims = forms.BooleanField(label="States that they can swim", required=False)
    phone = forms.CharField(label="Phone on the water or beach", max_length=30, required=False)
    waiver = forms.BooleanField(label="Waiver signed", required=False)
    guardian_name = forms.CharField(label="Guardian (under 18)", max_length=120, required=False)
    guardian_phone = forms.CharField(label="Guardian's phone", max_length=30, required=False)
    consent = forms.BooleanField(label="Guardian consents", required=False)

    def facts(self) -> RiderFacts:
        """Return what was entered."""
        cleaned: dict[str, Any] = {name: self.cleaned_data[name] for name in RiderFields.base_fields}
        return RiderFacts(**{**cleaned, "stature_cm": int(cleaned["stature_cm"])})


class RiderForm(RiderFields):
    """A rider's own page."""

    @classmethod
    def of(cls, rider: Rider, data: Any = None) -> "RiderForm":
        """Return the form filled with what is known."""
        known = {name: getattr(rider, name, None) for name in cls.base_fields}
        known["waiver"] = rider.waiver_signed_at is not None
        known["consent"] = rider.guardian_consent_at is not None
        return cls(data, initial=known)


class StationForm(PlainForm):
    """Where a station lies and when it is open."""

    name = forms.CharField(label="Name", max_length=80)
    zone_name = forms.CharField(label="Time zone", max_length=40, help_text="such as Europe/Lisbon")
    latitude_deg = NumberField(
        label="Latitude in degrees", unit="degrees", low=-90, high=90, help_text="north is positive"
    )
    longitude_deg = NumberField(
        label="Longitude in degrees", unit="degrees", low=-180, high=180, help_text="east is positive"
    )
    seaward_deg = NumberField(
        label="Bearing to the open water",
        unit="degrees",
        low=0,
        high=359.9,
        help_text="degrees true, looking off the beach",
    )
    opens = forms.TimeField(label="Opens", widget=forms.TimeInput(format="%H:%M", attrs={"class": "short"}))
    closes = forms.TimeField(label="Closes", widget=forms.TimeInput(format="%H:%M", attrs={"class": "short"}))
    turn_round_min = NumberField(
        label="Minutes between two riders of an item", unit="minutes", low=0, high=180, decimal_places=0
    )
    salt_water = forms.BooleanField(label="Salt water", required=False)
    rescue_number = forms.CharField(label="Number of the rescue service", max_length=30)
    watch_email = forms.EmailField(label="Email of the watch", help_text="told when somebody is overdue")

    def facts(self) -> StationFacts:
        """Return what was entered."""
        cleaned: dict[str, Any] = dict(self.cleaned_data)
        for name in ("latitude_deg", "longitude_deg", "seaward_deg"):
            cleaned[name] = float(cleaned[name])
        return StationFacts(**{**cleaned, "turn_round_min": int(cleaned["turn_round_min"])})

    @classmethod
    def of(cls, station: Station, data: Any = None) -> "StationForm":
        """Return the form filled with what is known."""
        return cls(data, initial={name: getattr(station, name) for name in cls.base_fields})


class LimitsForm(PlainForm):
    """The wind limit of each level, of mean beach wind; empty for the usual one."""

    def __init__(self, usual: Mapping[str, float], own: Mapping[str, float], data: Any = None) -> None:
        super().__init__(data, initial=dict(own))
        for level, mean_ms in usual.items():
            self.fields[level] = MeasureField(
                label=f"{level.capitalize()}, in {{unit}}",
                quantity="wind",
                low=LIMIT_MS[0],
                high=LIMIT_MS[1],
                required=False,
                help_text=f"usually {kn(mean_ms)}",
            )

    def limits(self) -> dict[str, float | None]:
        """Return the limits in m/s, None for the usual one."""
        return {
            level: None if mean_ms is None else float(mean_ms) for level, mean_ms in self.cleaned_data.items()
        }


class StaffForm(PlainForm):
    """A colleague to come."""

    username = forms.CharField(
        label="Sign-in name", max_length=150, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    role = forms.ChoiceField(label="Role", choices=[(role.value, role.value) for role in Role])
    first_name = forms.CharField(label="First name", max_length=150, required=False)
    last_name = forms.CharField(label="Last name", max_length=150, required=False)
    password = forms.CharField(
        label="First password",
        required=False,
        help_text="for somebody new; they change it when they sign in",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def facts(self) -> StaffFacts:
        """Return what was entered."""
        return StaffFacts(**self.cleaned_data)


class UnitsForm(PlainForm):
    """In which units somebody reads."""

    wind = forms.ChoiceField(label="Wind", choices=[(each, each) for each in CHOICES["wind"]])
    mass = forms.ChoiceField(label="Mass", choices=[(each, each) for each in CHOICES["mass"]])
    length = forms.ChoiceField(label="Length", choices=[(each, each) for each in CHOICES["length"]])


class MedicalForm(PlainForm):
    """What helpers should know, and who agrees that it is kept."""

    note = forms.CharField(
        label="What should helpers know?",
        max_length=MEDICAL_NOTE,
        required=False,
        help_text="such as: asthma, spray in the left pocket. Leave it empty to remove it",
    )
    agreed_by = forms.CharField(label="Who agrees?", max_length=120, required=False)
    agreed = forms.BooleanField(label=MEDICAL_WORDING, required=False)

    @classmethod
    def of(cls, rider: Rider, data: Any = None) -> "MedicalForm":
        """Return the form filled with what is kept."""
        kept = MedicalNote.objects.filter(rider=rider).first()
        known = {"note": kept.note, "agreed_by": kept.agreed_by, "agreed": True} if kept else {}
        usual = {"agreed_by": rider.guardian_name or rider.name}
        return cls(data, prefix="medical", initial={**usual, **known})
