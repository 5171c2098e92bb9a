"""What is sent from the rig-up page."""

from collections.abc import Sequence
from typing import Any

from django import forms

from rentals.dayplan.services import CrewFacts
from rentals.lib.forms import OnceForm

ALIKE = 0.005
"""Losses under this are none when shown. Status: policy."""


class SailForm(OnceForm):
    """Another sail for one rider."""

    sail = forms.ChoiceField(label="Sail", widget=forms.RadioSelect)

    def __init__(self, sails: Sequence[tuple[str, float]], data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        field = self.fields["sail"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101
        field.choices = [(name, _said(name, loss)) for name, loss in sails]
        field.error_messages["invalid_choice"] = "Choose one of the sails that are safe for the rider."


class SpanForm(OnceForm):
    """A span of days to study."""

    first_day = forms.DateField(
        label="From", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    last_day = forms.DateField(
        label="Until", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )


class CrewForm(OnceForm):
    """Who builds rigs."""

    hands = forms.IntegerField(label="People who build at once")
    rig_min = forms.IntegerField(label="Minutes one of them takes for a rig")
    lead_min = forms.IntegerField(
        label="Minutes before a start", help_text="How long before opening, and before a start, they begin."
    )

    def facts(self) -> CrewFacts:
        """Return the crew as typed."""
        return CrewFacts(**{name: self.cleaned_data[name] for name in ("hands", "rig_min", "lead_min")})


def _said(name: str, loss: float) -> str:
    return f"{name} – {'as good as the best' if loss < ALIKE else f'{loss:.2f} of 1 worse than the best'}"
