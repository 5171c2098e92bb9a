"""An incident as it is told, corrected, followed up and closed."""

import re
from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from django import forms

from rentals.fleet.models import Item
from rentals.incidents import queries
from rentals.incidents.models import Cause, Kind, Severity, Telling
from rentals.incidents.services import DONE, NAME, NOTE, PLACE, SAID, WHOM, WHY, WITNESS, WORDS, Told
from rentals.lib.forms import MomentForm, NumberField, OnceForm, PlainForm
from rentals.lib.problems import Refused
from rentals.stations.models import Station
from rigging import units
from rigging.checks.lists import CLOSING
from rigging.drift import Current

NAMES = {"happened_at": "time", "outing_id": "outing", "rider_id": "rider", "items": "tags"}
"""Fields of the service that the form calls otherwise."""

NAMED = 120
"""Longest part of a name that is looked for; the longest name."""


def _choices(known: Any, nothing: str = "") -> list[tuple[str, str]]:
    return [("", nothing), *known]


class IncidentForm(OnceForm, MomentForm):
    """What happened; the kit of the outing as ticks, other items by their tags."""

    kind = forms.ChoiceField(label="What was it?", choices=_choices(Kind.choices, "choose"))
    severity = forms.ChoiceField(label="How bad?", choices=_choices(Severity.choices, "choose"))
    cause = forms.ChoiceField(label="Main cause", choices=Cause.choices, initial=Cause.UNKNOWN)
    day = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    time = forms.CharField(label="Time", max_length=12, help_text="such as 14:30")
    place = forms.CharField(
        label="Where", max_length=PLACE, required=False, help_text="such as: 200 m off the jetty"
    )
    words = forms.CharField(
        label="What happened?",
        max_length=WORDS,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text="Facts in their order: what was seen, by whom, what was done",
    )
    witness = forms.CharField(
        label="Witness", max_length=WITNESS, required=False, help_text="name and how to reach them"
    )
    outing = forms.ChoiceField(label="Outing", required=False)
    rider = forms.ChoiceField(label="Rider", required=False, help_text="left empty: the outing's rider")
    looked_for = forms.CharField(
        label="Not in these lists: part of the rider's name",
        max_length=NAMED,
        required=False,
        help_text="finds every rider known here, and their outings however old",
    )
    tags = forms.CharField(
        label="Other items involved, by tag", max_length=300, required=False, help_text="such as: S04, M11"
    )

    def __init__(
        self,
        station: Station,
        whom: queries.Whom,
        kit: Sequence[Item] = (),
        data: Any = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(data, **kwargs)
        self.station, self.whom, self.kit = station, whom, kit
        self.named: Collection[Item] = ()
        self.fields["outing"].choices = _choices(whom.outings, "none")  # type: ignore[attr-defined]  # of a select
        self.fields["rider"].choices = _choices(whom.riders, "none")  # type: ignore[attr-defined]
        for item in kit:
            label = f"{item.tag} {item.model.name}"
            self.fields[f"item_{item.pk}"] = forms.BooleanField(label=label, required=False)

    @property
    def ticks(self) -> list[forms.BoundField]:
        """The outing's kit."""
        return [self[f"item_{item.pk}"] for item in self.kit]

    def clean(self) -> dict[str, Any]:
        """Refuse a name that was looked for while nobody was chosen, so that nobody is left out unseen."""
        said: dict[str, Any] = super().clean() or self.cleaned_data
        if said.get("looked_for") and not (said.get("outing") or said.get("rider")):
            self.add_error("looked_for", "Choose an outing or a rider in the lists above, or empty this.")
        return said

    def clean_tags(self) -> str:
        """Find the items that are named; say which are not here."""
        written: str = self.cleaned_data["tags"]
        tags = [tag for tag in re.split(r"[\s,;]+", written) if tag]
        known = queries.items_tagged(self.station, tags) if tags else {}
        unknown = [tag for tag in tags if tag.upper() not in known]
        if unknown:
            raise forms.ValidationError(f"There is no item {', '.join(unknown)} here. Check the tag.")
        self.named = known.values()
        return written

    @property
    def item_ids(self) -> list[int]:
        """Items ticked or named."""
        ticked = [item.pk for item in self.kit if self.cleaned_data[f"item_{item.pk}"]]
        return sorted({*ticked, *(item.pk for item in self.named)})

    def told(self) -> Told | None:
        """Return what was told; None when the time is off, which is then said beside it."""
        happened_at = self.moment_of("day", "time", self.station.zone)
        if happened_at is None:
            return None
        said: dict[str, Any] = self.cleaned_data
        return Told(
            **{name: said[name] for name in ("kind", "severity", "cause", "words", "place", "witness")},
            happened_at=happened_at,
            outing_id=int(said["outing"]) if said["outing"] else None,
            rider_id=int(said["rider"]) if said["rider"] else None,
        )

    def refused(self, refused: Refused) -> None:
        """Put a refusal beside the fields as this form calls them."""
        self.refuse(refused, names=NAMES)


class CorrectionForm(IncidentForm):
    """An incident told anew, and why."""

    why = forms.CharField(label="Why is it corrected?", max_length=WHY)
    version = forms.IntegerField(widget=forms.HiddenInput)


class DoneForm(OnceForm):
    """What was done about an incident."""

    words = forms.CharField(
        label="What was done or found?", max_length=DONE, widget=forms.Textarea(attrs={"rows": 3})
    )


class TurnForm(PlainForm):
    """What was learnt, or why it is opened again."""

    words = forms.CharField(
        label="What was learnt?", max_length=DONE, widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, closed: bool, data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        if closed:
            self.fields["words"].label = "Why is it opened again?"


class ClosingForm(OnceForm):
    """The points of the closing round as ticks, and who went round."""

    name = forms.CharField(label="Who went round?", max_length=NAME)
    note = forms.CharField(label="Note", max_length=NOTE, required=False)

    def __init__(self, missing: bool, data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        for key, text in CLOSING:
            self.fields[f"point.{key}"] = forms.BooleanField(label=text, required=False)
        if missing:
            self.fields["note"].label = "What is done about the items that are not back?"

    @property
    def points(self) -> list[forms.BoundField]:
        """The ticks."""
        return [self[f"point.{key}"] for key, _ in CLOSING]

    @property
    def ticked(self) -> frozenset[str]:
        """Keys of what was gone through."""
        return frozenset(key for key, _ in CLOSING if self.cleaned_data[f"point.{key}"])


class ReopenDayForm(PlainForm):
    """Who opens a signed day again, and why."""

    name = forms.CharField(label="Who opens it again?", max_length=NAME)
    note = forms.CharField(label="Why?", max_length=NOTE)


class CallForm(OnceForm):
    """Whom somebody just told."""

    whom = forms.CharField(label="Whom did you tell?", max_length=WHOM, help_text="such as: rescue service")
    words = forms.CharField(label="What was said?", max_length=SAID, required=False)


class CurrentForm(PlainForm):
    """The surface current as staff know it."""

    kn = NumberField(label="Current in kn", unit="kn", low=0, high=9, required=False)
    toward = NumberField(label="It sets toward, in degrees", unit="degrees", low=0, high=360, required=False)

    def current(self) -> Current | None:
        """Return what was entered; None where either is missing or off."""
        if not self.is_valid() or None in self.cleaned_data.values():
            return None
        speed, toward = (float(self.cleaned_data[name]) for name in ("kn", "toward"))
        return Current(speed_ms=float(units.from_knots(speed)), toward_deg=toward % 360)


def as_told(telling: Telling, station: Station) -> dict[str, object]:
    """Return what a correction starts from."""
    local = station.local(telling.happened_at)
    return {
        **{
            name: getattr(telling, name)
            for name in ("kind", "severity", "cause", "words", "place", "witness")
        },
        **at(local),
        "outing": telling.outing_id or "",
        "rider": telling.rider_id or "",
        "version": telling.version,
    }


def at(local: datetime) -> dict[str, object]:
    """Return a moment as day and time fields show it; in the hour that comes twice, with its offset."""
    twice = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
    return {"day": local.date(), "time": f"{local:%H:%M %z}" if twice else f"{local:%H:%M}"}
