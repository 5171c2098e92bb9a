"""What things look like from outside: fields that say their units, and the shapes that answers share."""

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, ClassVar, Final

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from rentals.fleet.models import Kind
from rentals.fleet.states import ItemState
from rentals.stations.models import LEVELS

FIRST_DAY: Final = date(2000, 1, 1)
LAST_DAY: Final = date(2100, 1, 1)
"""Days that a station may speak of: policy, and safe from the calendar's ends in any zone."""

LARGEST_ID: Final = 2**63 - 1
NOTE: Final = 300


class Out(serializers.Serializer[Any]):
    """What is answered."""


class In(serializers.Serializer[Any]):
    """What is sent. An unknown field is refused rather than lost: a mass in pounds, a typing error."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            unknown = sorted(set(data) - set(self.fields))
            if unknown:
                known = ", ".join(self.fields)
                raise serializers.ValidationError(
                    dict.fromkeys(unknown, f"There is no such field here. Fields are: {known}.")
                )
        return super().to_internal_value(data)


class Moment(serializers.DateTimeField):
    """A moment with its offset, in and out."""

    default_error_messages: ClassVar[dict[str, Any]] = {
        "invalid": "Enter a date and time with its offset, such as 2027-07-14T10:00+01:00.",
        "naive": "Without an offset that names no moment. Enter one, such as 2027-07-14T10:00+01:00.",
        **dict.fromkeys(("era", "overflow"), f"Enter a time between {FIRST_DAY} and {LAST_DAY}."),
    }

    def to_internal_value(self, value: Any) -> datetime:
        # In UTC, because differences within one zone are taken on its wall clock and miss its changes.
        moment: datetime = super().to_internal_value(value).astimezone(UTC)
        if not FIRST_DAY <= moment.date() < LAST_DAY:
            self.fail("era")
        return moment

    def enforce_timezone(self, value: datetime) -> datetime:
        if timezone.is_naive(value):
            self.fail("naive")
        return super().enforce_timezone(value)


class Day(serializers.DateField):
    """A calendar day."""

    default_error_messages: ClassVar[dict[str, Any]] = {
        "invalid": "Enter a day, such as 2027-07-14.",
        "era": "Enter a day between {first} and {last}.",
    }

    def __init__(self, *, first: date = FIRST_DAY, **kwargs: Any) -> None:
        self.first = first
        super().__init__(**kwargs)

    def to_internal_value(self, value: Any) -> date:
        day: date = super().to_internal_value(value)
        if not self.first <= day < LAST_DAY:
            self.fail("era", first=self.first, last=LAST_DAY)
        return day


class Number(serializers.FloatField):
    """A finite number within a range, as a number and not as text."""

    default_error_messages: ClassVar[dict[str, Any]] = {"invalid": "Enter a number."}

    def __init__(self, *, low: float, high: float, **kwargs: Any) -> None:
        super().__init__(min_value=low, max_value=high, **kwargs)

    def to_internal_value(self, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.fail("invalid")
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            self.fail("invalid")
        return number


class Tenths(Number):
    """A number with at most one decimal, kept exactly."""

    default_error_messages: ClassVar[dict[str, Any]] = {"tenths": "Enter at most one decimal."}

    def to_internal_value(self, value: Any) -> Decimal:  # type: ignore[override]
        number = super().to_internal_value(value)
        if round(number, 1) != number:
            self.fail("tenths")
        return Decimal(repr(number))


class Id(serializers.IntegerField):
    """The number of a thing."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=1, max_value=LARGEST_ID, **kwargs)


class Text(serializers.CharField):
    """A line of text, as long as its column."""

    def __init__(self, *, most: int = NOTE, **kwargs: Any) -> None:
        super().__init__(max_length=most, **kwargs)


class Choice(serializers.ChoiceField):
    """One word out of a few."""

    def __init__(self, choices: Sequence[Any], **kwargs: Any) -> None:
        super().__init__(choices, **kwargs)
        self.error_messages["invalid_choice"] = f"Choose one of {', '.join(map(str, self.choices))}."


class Note(Text):
    """A line of text that may be left out."""

    def __init__(self, *, most: int = NOTE, **kwargs: Any) -> None:
        super().__init__(most=most, required=False, allow_blank=True, default="", **kwargs)


@extend_schema_field({"oneOf": [{"type": "number"}, {"type": "string"}]})
class NumberOrWord(serializers.Field[Any, Any, Any, Any]):
    """An input of a formula: a number, or a word where it takes one."""

    def to_representation(self, value: Any) -> float | str:
        return value if isinstance(value, int | float) else str(value)


class Input(Out):
    """One number or word that went into a result."""

    name = serializers.CharField()
    value = NumberOrWord()
    unit = serializers.CharField(help_text="Empty for words.")


class Reason(Out):
    """Why a number is what it is."""

    text = serializers.CharField(help_text="A plain sentence with the numbers in it.")
    rule = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]  # a field, not where one is from
    inputs = Input(many=True)


class Row(serializers.Field[Any, Any, Any, Any]):
    """A tuple out, its places named."""

    names: ClassVar[tuple[str, ...]]

    def to_representation(self, value: Iterable[Any]) -> dict[str, Any]:
        return dict(zip(self.names, value, strict=True))


@extend_schema_field(Input)
class StoredInput(Row):
    """An input of a formula as it is kept."""

    names = ("name", "value", "unit")


class StoredReason(Out):
    """Why a number was what it was when it was made."""

    text = serializers.CharField()
    rule = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    inputs = serializers.ListField(child=StoredInput())


class ItemBrief(Out):
    """An item by its tag."""

    id = serializers.IntegerField()
    tag = serializers.CharField()
    kind = serializers.ChoiceField(Kind.choices, source="model.kind")
    model = serializers.CharField(source="model.name")
    state = serializers.ChoiceField([state.value for state in ItemState])


class RiderBrief(Out):
    """A rider as lists show them."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    mass_kg = serializers.FloatField()
    stature_cm = serializers.IntegerField()
    level = serializers.ChoiceField(LEVELS)


class Entry(Out):
    """A line of the journal."""

    at = Moment()
    actor_name = serializers.CharField()
    act = serializers.CharField()
    text = serializers.CharField()


class Explained(Out):
    """A kind of problem (RFC 9457)."""

    type = serializers.CharField()
    status = serializers.IntegerField()
    title = serializers.CharField()
    meaning = serializers.CharField()


class Blame(Out):
    """What of the request is to blame."""

    pointer = serializers.CharField(
        required=False, help_text="JSON pointer (RFC 6901) into the body; empty: all of it."
    )
    parameter = serializers.CharField(required=False, help_text="A parameter of the query.")
    detail = serializers.CharField()


@extend_schema_field(OpenApiTypes.URI_REF)
class Reference(serializers.CharField):
    """An address relative to the request's."""


class Problem(Out):
    """A problem (RFC 9457)."""

    type = Reference(help_text="Names the kind of problem, for good; the address explains it.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField(help_text="What to do, in words for people.")
    instance = Reference()
    errors = Blame(many=True, required=False)  # type: ignore[assignment]
