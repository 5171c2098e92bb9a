"""A check list as it is edited: the wording of each line, the levels it is for, and lines added."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from django import forms

from rentals.checklists.models import Check
from rentals.checklists.queries import LEVELS, USUAL, InForce
from rentals.checklists.services import TEXT, WHY, Written
from rentals.lib.forms import PlainForm
from rentals.lib.problems import Refused

NEW_LINES = 3


class ListForm(PlainForm):
    """Every line with its levels; an emptied line goes, and a few may be added."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    why = forms.CharField(label="What is changed, and why?", max_length=WHY, required=False)

    def __init__(self, shown: InForce, data: Any = None) -> None:
        super().__init__(data, initial={"version": shown.version})
        self.shown = shown
        self.kinds = list(USUAL[Check(shown.check)])
        levels = [(level, level) for level in LEVELS]
        place: Counter[str] = Counter()
        for number, line in enumerate(shown.lines):
            place[line.kind] += 1
            self.fields[f"text_{number}"] = forms.CharField(
                label=f"{line.kind.capitalize()}, line {place[line.kind]}",
                max_length=TEXT,
                required=False,
                initial=line.text,
                widget=forms.Textarea(attrs={"rows": 2, "class": "line"}),
            )
            self.fields[f"levels_{number}"] = forms.MultipleChoiceField(
                label="Only for",
                choices=levels,
                required=False,
                initial=line.levels,
                widget=forms.CheckboxSelectMultiple,
            )
        for number in range(NEW_LINES):
            self.fields[f"kind_new{number}"] = forms.ChoiceField(
                label=f"New line {number + 1} is for",
                choices=[(kind, kind) for kind in self.kinds],
                required=False,
                initial="rider",
            )
            self.fields[f"text_new{number}"] = forms.CharField(
                label=f"New line {number + 1}", max_length=TEXT, required=False
            )

    @property
    def groups(self) -> Iterator[tuple[str, list[tuple[forms.BoundField, forms.BoundField]]]]:
        """Lines by kind, in the list's order."""
        for kind in self.kinds:
            rows = [
                (self[f"text_{number}"], self[f"levels_{number}"])
                for number, line in enumerate(self.shown.lines)
                if line.kind == kind
            ]
            if rows:
                yield kind, rows

    @property
    def added(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Room for new lines."""
        return [(self[f"kind_new{number}"], self[f"text_new{number}"]) for number in range(NEW_LINES)]

    def lines(self) -> list[Written]:
        """Return the list as written, emptied lines left out, new ones after those of their kind."""
        said = self.cleaned_data
        kept = [
            Written(
                key=line.key,
                kind=line.kind,
                text=" ".join(said[f"text_{number}"].split()),
                levels=tuple(said[f"levels_{number}"]),
            )
            for number, line in enumerate(self.shown.lines)
            if said[f"text_{number}"].strip()
        ]
        kept += [
            Written(kind=said[f"kind_new{number}"] or "rider", text=said[f"text_new{number}"])
            for number in range(NEW_LINES)
            if said[f"text_new{number}"].strip()
        ]
        return sorted(kept, key=lambda line: self.kinds.index(line.kind))

    def refused(self, refused: Refused) -> None:
        """Say at the top what the service says of one line."""
        self.add_error(None, refused.sentence)
