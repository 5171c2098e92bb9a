"""What every form shares: plain inputs, refusals put beside their fields, and a key to count once."""

import uuid
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from rentals.lib.problems import Refused
from rentals.lib.when import NotATime, moment

NEEDED = _("This is needed.")


class PlainForm(forms.Form):
    """A form without the browser's own bubbles; what was typed stays when it is refused."""

    use_required_attribute = False
    error_css_class = "has-error"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.error_messages["required"] = NEEDED

    def refuse(self, refused: Refused, *, names: Mapping[str, str] | None = None) -> None:
        """Put a service's refusal beside its fields, or at the top where no input is to blame.

        Args:
            refused: what the service said.
            names: the service's field names where the form calls them otherwise.
        """
        said = {(names or {}).get(name, name): sentence for name, sentence in refused.fields.items()}
        own = {name: sentence for name, sentence in said.items() if name in self.fields}
        for name, sentence in own.items():
            self.add_error(name, sentence)
        if not own:
            self.add_error(None, refused.sentence)


class MomentForm(PlainForm):
    """A form with wall-clock times of a station's day."""

    def moment_of(self, day_field: str, time_field: str, zone: ZoneInfo) -> datetime | None:
        """Return the aware moment of two fields; what names none is said beside the time."""
        day, written = self.cleaned_data.get(day_field), self.cleaned_data.get(time_field)
        if day is None or written is None:
            return None
        try:
            return moment(day, written, zone)
        except NotATime as problem:
            self.add_error(time_field, str(problem))
            return None


class OnceForm(PlainForm):
    """A form that counts once: its key comes with the page and goes to the service."""

    once = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("once", uuid.uuid4())


def once_of(sent: Mapping[str, Any]) -> uuid.UUID | None:
    """Return the form's own key, none where it was tampered with."""
    form = OnceForm(sent)
    return form.cleaned_data["once"] if form.is_valid() else None


class NumberField(forms.DecimalField):
    """A number typed with a point or a comma, on a phone's number pad."""

    def __init__(self, *, unit: str, low: float, high: float, **kwargs: Any) -> None:
        self.unit, self.low, self.high = unit, low, high
        super().__init__(localize=False, **kwargs)
        self.widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "short", "autocomplete": "off"})
        self.error_messages["invalid"] = gettext("Enter a number in %(unit)s.") % {"unit": unit}

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]  # the stubs say int
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)

    def validate(self, value: Decimal | None) -> None:
        super().validate(value)  # type: ignore[arg-type]  # the stubs forget the empty value
        if value is not None and not self.low <= value <= self.high:
            said = gettext("Enter a number between %(low)s and %(high)s %(unit)s.")
            raise forms.ValidationError(
                said % {"low": f"{self.low:g}", "high": f"{self.high:g}", "unit": self.unit}
            )
