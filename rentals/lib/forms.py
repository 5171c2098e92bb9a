"""What every form shares: plain inputs, refusals put beside their fields, and a key to count once."""

import re
import uuid
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from django import forms
from django.utils.functional import lazy
from django.utils.text import format_lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from rentals.lib import measures
from rentals.lib.problems import Refused
from rentals.lib.when import NotATime, moment

if TYPE_CHECKING:
    from django.utils.functional import _StrOrPromise

NEEDED = _("This is needed.")
LONGEST_NUMBER: Final = 18
"""Digits of a row's number: what a database's largest integers hold."""


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


def whole_number(written: str) -> int | None:
    """Return a number as a page's own links and buttons send it; none for what no row can have."""
    return int(written) if written.isdecimal() and len(written) <= LONGEST_NUMBER else None


def once_of(sent: Mapping[str, Any]) -> uuid.UUID | None:
    """Return the form's own key, none where it was tampered with."""
    form = OnceForm(sent)
    return form.cleaned_data["once"] if form.is_valid() else None


def waited_s(sent: Mapping[str, Any]) -> int | None:
    """Return how many seconds a form waited on a device; None for one sent at once, or where it says none."""
    said = str(sent.get("waited_s", "")).strip()
    return int(said) if re.fullmatch(r"-?\d{1,12}", said) else None


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


class MeasureField(forms.Field):
    """A wind, mass or stature in the reader's unit: SI in initial values and in what was cleaned.

    A number with a unit of its own counts in that unit. What was not touched stays exactly as it was, though
    the unit shows fewer digits.
    """

    def __init__(
        self,
        *,
        quantity: measures.Quantity,
        low: float,
        high: float,
        label: "_StrOrPromise",
        decimals: int | None = None,
        **kwargs: Any,
    ) -> None:
        """Take the range in SI, a label with a place for the `{unit}`, and how many decimals SI keeps."""
        self.quantity, self.low, self.high, self.decimals = quantity, low, high, decimals
        self.kept: Any = None
        unit = lazy(lambda: measures.unit_of(quantity), str)()
        super().__init__(label=format_lazy(label, unit=unit), **kwargs)
        self.widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "short", "autocomplete": "off"})

    def get_bound_field(self, form: forms.BaseForm, field_name: str) -> forms.BoundField:
        """Remember what the input was filled with."""
        self.kept = form.get_initial_for_field(self, field_name)
        return super().get_bound_field(form, field_name)

    def prepare_value(self, value: Any) -> Any:
        """Show what is known in the reader's unit, and what was typed as it was typed."""
        return value if value is None or isinstance(value, str) else measures.typed(self.quantity, value)

    def to_python(self, value: Any) -> Decimal | None:
        """Return what was typed, in SI."""
        words = str(value or "").strip()
        if not words:
            return None
        if words == self.prepare_value(self.kept):
            return Decimal(str(self.kept))
        try:
            found = Decimal(str(measures.read(self.quantity, words)))
        except measures.NotAMeasure as problem:
            unit = measures.unit_of(self.quantity)
            said = gettext("Enter a number in %(unit)s.") % {"unit": measures.INVALID.get(unit, unit)}
            raise forms.ValidationError(said) from problem
        return found if self.decimals is None else round(found, self.decimals)

    def validate(self, value: Decimal | None) -> None:
        """Refuse what is missing or out of range, in the reader's unit."""
        super().validate(value)
        if value is not None and not self.low <= value <= self.high:
            low, high, unit = measures.within(self.quantity, self.low, self.high)
            said = gettext("Enter a number between %(low)s and %(high)s %(unit)s.")
            raise forms.ValidationError(said % {"low": low, "high": high, "unit": unit})
