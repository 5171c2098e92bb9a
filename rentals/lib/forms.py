"""What every form shares: plain inputs, refusals put beside their fields, and a key that makes it count once."""

import uuid
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms

from rentals.lib.problems import Refused


class PlainForm(forms.Form):
    """A form without the browser's own bubbles; what was typed stays when it is refused."""

    use_required_attribute = False
    error_css_class = "has-error"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.error_messages.setdefault("required", "")
            if field.error_messages["required"] in ("", "This field is required."):
                field.error_messages["required"] = f"Enter: {str(field.label or 'a value').lower()}."

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


class OnceForm(PlainForm):
    """A form that counts once: its key comes with the page and goes to the service."""

    once = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("once", uuid.uuid4())


class NumberField(forms.DecimalField):
    """A number typed with a point or a comma, on a phone's number pad."""

    def __init__(self, *, unit: str, low: float, high: float, **kwargs: Any) -> None:
        self.unit, self.low, self.high = unit, low, high
        super().__init__(localize=False, **kwargs)
        self.widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "short", "autocomplete": "off"})
        self.error_messages["invalid"] = f"Enter a number in {unit}."

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)

    def validate(self, value: Decimal | None) -> None:
        super().validate(value)
        if value is not None and not self.low <= value <= self.high:
            raise forms.ValidationError(f"Enter a number between {self.low:g} and {self.high:g} {self.unit}.")
