"""What is typed about a rider, cleaned."""

from typing import Any

from django import forms

from rentals.lib.forms import NumberField, PlainForm
from rentals.people.models import MASS_KG, STATURE_CM, Rider
from rentals.people.services import RiderFacts
from rentals.stations.models import LEVELS


class RiderFields(PlainForm):
    """The fields of a rider, alone or as one row of a booking."""

    name = forms.CharField(
        label="Name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    born_on = forms.DateField(
        label="Born on", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    mass_kg = NumberField(label="Mass in kg", unit="kg", low=MASS_KG[0], high=MASS_KG[1], decimal_places=1)
    stature_cm = NumberField(
        label="Stature in cm", unit="cm", low=STATURE_CM[0], high=STATURE_CM[1], decimal_places=0
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
