"""The kit as staff choose it for an outing."""

from collections.abc import Sequence
from typing import Any

from django import forms

from rentals.fleet.models import WORN, Item, Kind
from rentals.lib.forms import OnceForm
from rentals.rigs.queries import Offers, fits_to_wear
from rentals.rigs.services import Choice

PARTS = (Kind.MAST, Kind.EXTENSION, Kind.BOOM, Kind.BASE)


class KitForm(OnceForm):
    """Sail, board and what is worn; the rig's parts are the best fit unless named."""

    sail = forms.TypedChoiceField(label="Sail", coerce=int, widget=forms.RadioSelect)
    board = forms.TypedChoiceField(label="Board", coerce=int)
    override_reason = forms.CharField(
        label="Reason",
        max_length=300,
        required=False,
        help_text="needed only when you choose against the advice; it goes into the journal",
    )

    def __init__(self, offers: Offers, data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self._choices("sail", [offer.item for offer in offers.sails])
        self._choices("board", [offer.item for offer in offers.boards])
        best = next((offer.item.pk for offer in offers.fitting), None)
        self.initial.setdefault("sail", offers.kit[Kind.SAIL].item_id if Kind.SAIL in offers.kit else best)
        for kind in WORN:
            self._optional(kind, offers.worn[kind], "none from the shed")
            usual = kind in (Kind.BUOYANCY_AID, Kind.WETSUIT)
            fitting = next((item for item in offers.worn[kind] if fits_to_wear(item, offers.outing)), None)
            self.initial.setdefault(kind.value, fitting.pk if usual and fitting else "")
            if usual and not fitting:
                self.fields[kind.value].help_text = "None of the rider's size is free: choose and try on"
        for kind in PARTS:
            self._optional(kind, offers.spares[kind], "best fit")
        for kind, part in offers.kit.items():
            if kind.value in self.fields and kind not in PARTS:
                self.initial[kind.value] = part.item_id

    def choice(self) -> Choice:
        """Return what was chosen."""
        cleaned = self.cleaned_data
        return Choice(
            sail_id=cleaned["sail"],
            board_id=cleaned["board"],
            parts={kind: cleaned[kind.value] for kind in PARTS if cleaned[kind.value]},
            worn={kind: cleaned[kind.value] for kind in WORN if cleaned[kind.value]},
            override_reason=cleaned["override_reason"],
        )

    @property
    def worn_fields(self) -> list[forms.BoundField]:
        """Inputs of what is worn."""
        return [self[kind.value] for kind in WORN]

    @property
    def part_fields(self) -> list[forms.BoundField]:
        """Inputs of the rig's parts."""
        return [self[kind.value] for kind in PARTS]

    def _choices(self, name: str, items: Sequence[Item]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101
        field.choices = [(item.pk, f"{item.model.name}, {item.tag}") for item in items]
        field.error_messages["invalid_choice"] = "Choose one that is free at that time."

    def _optional(self, kind: Kind, items: Sequence[Item], none: str) -> None:
        self.fields[kind.value] = forms.TypedChoiceField(
            label=kind.replace("_", " ").capitalize(),
            coerce=int,
            empty_value=None,
            required=False,
            choices=[("", none), *((item.pk, f"{item.model.name}, {item.tag}") for item in items)],
            error_messages={"invalid_choice": "Choose one that is free at that time."},
        )
