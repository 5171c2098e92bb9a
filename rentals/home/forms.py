"""What people at home type: what they look for, their booking, and a manager's rules for the page."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any, Final, cast
from uuid import uuid4
from zoneinfo import ZoneInfo

from django import forms
from django.utils import formats
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from rentals.bookings.services import Contact
from rentals.home.mapping import LEVELS
from rentals.home.models import LANGUAGES, Front, Signature
from rentals.home.services import MOST_FROM_HOME, Asked, FrontFacts, Signed
from rentals.lib.forms import MeasureField, MomentForm, OnceForm, PlainForm, whole_number
from rentals.lib.problems import Refused
from rentals.people.forms import RiderFields
from rentals.people.models import ADULT_AGE, MASS_KG, STATURE_CM, Rider
from rentals.people.services import RiderFacts

LOOK_ROWS: Final = 4
USUAL_STATURE_CM: Final = 172
"""Stands in for a stature while somebody only looks; common practice, no source."""

HOURS = [("1", _("1 hour")), ("2", _("2 hours")), ("3", _("3 hours")), ("4", _("4 hours"))]
HALVES = [("morning", _("in the morning")), ("afternoon", _("in the afternoon"))]


def days_of(front: Front, today: date) -> list[tuple[str, str]]:
    """Return the days on which people at home can book, as choices."""
    days = [today + timedelta(days=ahead) for ahead in range(front.days_ahead + 1)]
    return [(day.isoformat(), formats.date_format(day, "D j M Y")) for day in days]


class LookRow(PlainForm):
    """A rider as far as a look needs them: nobody is named."""

    mass_kg = MeasureField(
        label=_("Weight in {unit}"),
        quantity="mass",
        low=MASS_KG[0],
        high=MASS_KG[1],
        decimals=1,
        required=False,
    )
    level = forms.ChoiceField(label=_("Can do"), choices=LEVELS.items(), initial="beginner", required=False)

    def rider(self) -> Rider | None:
        """Return the rider, or None where the row is empty."""
        cleaned = self.cleaned_data
        if cleaned.get("mass_kg") is None:
            return None
        return Rider(
            mass_kg=cleaned["mass_kg"], stature_cm=USUAL_STATURE_CM, level=cleaned["level"] or "beginner"
        )


class LookForm(PlainForm):
    """When a party would like to come; its riders are `rows`."""

    day = forms.ChoiceField(label=_("Day"))
    half = forms.ChoiceField(label=_("When"), choices=HALVES)
    hours = forms.ChoiceField(label=_("For"), choices=HOURS, initial="2")

    def __init__(self, front: Front, today: date, data: Mapping[str, str] | None) -> None:
        super().__init__(data)
        cast(forms.ChoiceField, self.fields["day"]).choices = days_of(front, today)
        self.rows = [LookRow(data, prefix=f"r{number}") for number in range(LOOK_ROWS)]

    def is_valid(self) -> bool:
        """Whether all holds together and somebody comes."""
        rows_whole = [row.is_valid() for row in self.rows]
        whole = super().is_valid() and all(rows_whole)
        if whole and not self.riders():
            self.rows[0].add_error("mass_kg", gettext("Enter the weight of at least one rider."))
            return False
        return whole

    def riders(self) -> tuple[Rider, ...]:
        """Return the riders of the filled rows."""
        found = (row.rider() for row in self.rows)
        return tuple(rider for rider in found if rider is not None)

    def asked_day(self) -> date:
        """Return the chosen day."""
        return date.fromisoformat(self.cleaned_data["day"])


class TimeForm(MomentForm):
    """A time for a booking: a day, a start and how long."""

    day = forms.DateField(label=_("Day"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    starts_at = forms.CharField(label=_("From"), max_length=12, help_text=_("such as 14:30"))
    hours = forms.ChoiceField(label=_("For"), choices=HOURS, initial="2")

    def span(self, zone: ZoneInfo) -> tuple[datetime, datetime] | None:
        """Return from when until when; None when the start names no moment, which is said beside it."""
        start = self.moment_of("day", "starts_at", zone)
        return None if start is None else (start, start + timedelta(hours=int(self.cleaned_data["hours"])))


class PartyForm(OnceForm):
    """Who speaks for a party at home; its riders are `HomeRows`."""

    contact_name = forms.CharField(label=_("Your name"), max_length=120)
    contact_email = forms.EmailField(label=_("Your email"), help_text=_("We send the confirmation there"))
    contact_phone = forms.CharField(label=_("Your phone"), max_length=30, required=False)
    note = forms.CharField(label=_("Anything we should know"), max_length=300, required=False)
    privacy = forms.BooleanField(label=_("I have read how you keep what I enter"))

    def asked_for(self, span: tuple[datetime, datetime], rows: "HomeRows", language: str) -> Asked:
        """Return what is asked for at a time."""
        cleaned = self.cleaned_data
        return Asked(
            contact=Contact(
                name=cleaned["contact_name"], phone=cleaned["contact_phone"], email=cleaned["contact_email"]
            ),
            starts_at=span[0],
            ends_at=span[1],
            riders=tuple(row.facts() for row in rows.forms),
            language=language,
            once=cleaned["once"] or uuid4(),
            note=cleaned["note"],
        )


class HomeForm(TimeForm, PartyForm):
    """A rental from home."""

    field_order = ("contact_name", "contact_email", "contact_phone", "day", "starts_at", "hours", "note")

    def asked(self, zone: ZoneInfo, rows: "HomeRows", language: str) -> Asked | None:
        """Return what is asked for; None when the time names no moment."""
        span = self.span(zone)
        return None if span is None else self.asked_for(span, rows, language)


class DayForm(PlainForm):
    """A day on which people at home can book."""

    day = forms.ChoiceField(label=_("Day"))

    def __init__(self, front: Front, today: date, data: Mapping[str, str] | None) -> None:
        super().__init__(data, initial={"day": today.isoformat()})
        cast(forms.ChoiceField, self.fields["day"]).choices = days_of(front, today)

    def chosen(self, today: date) -> date:
        """Return the chosen day; today while none was."""
        return date.fromisoformat(self.cleaned_data["day"]) if self.is_valid() else today


class HomeRider(RiderFields):
    """A rider of a booking from home, in the rider's own words."""

    name = forms.CharField(
        label=_("Name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    born_on = forms.DateField(
        label=_("Born on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    mass_kg = MeasureField(
        label=_("Weight in {unit}"), quantity="mass", low=MASS_KG[0], high=MASS_KG[1], decimals=1
    )
    stature_cm = MeasureField(
        label=_("Height in {unit}"), quantity="length", low=STATURE_CM[0], high=STATURE_CM[1], decimals=0
    )
    level = forms.ChoiceField(label=_("Can do"), choices=LEVELS.items())
    swims = forms.BooleanField(label=_("Can swim 100 metres in open water"), required=False)
    phone = forms.CharField(label=_("Phone on the beach"), max_length=30, required=False)
    waiver = forms.BooleanField(label=_("Has read the waiver below and agrees to it"), required=False)
    guardian_name = forms.CharField(label=_("Guardian, for riders under 18"), max_length=120, required=False)
    guardian_phone = forms.CharField(label=_("Guardian's phone"), max_length=30, required=False)
    consent = forms.BooleanField(
        label=_("The guardian named here agrees that this rider goes on the water"), required=False
    )

    def clean(self) -> dict[str, Any]:
        """Ask for the guardian of a rider under age."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        born, today = cleaned.get("born_on"), self.today
        if born and Rider(born_on=born).age_on(today) < ADULT_AGE:
            for name in ("guardian_name", "guardian_phone"):
                if not cleaned.get(name):
                    self.add_error(name, gettext("Needed for a rider under 18."))
        return cleaned

    today: date = date.max


class OwnRider(HomeRider):
    """What a party changes about one of its riders; who it is stays, and what was signed stays signed."""

    def __init__(self, rider: Rider, day: date, data: Any = None) -> None:
        self.today, self.rider = day, rider
        known = {name: getattr(rider, name, None) for name in HomeRider.base_fields}
        super().__init__(data, initial=known)
        del self.fields["name"]
        self.fields["waiver"].label = _("Has read the waiver above and agrees to it")
        for name, signed_at in (("waiver", rider.waiver_signed_at), ("consent", rider.guardian_consent_at)):
            if signed_at:
                del self.fields[name]

    def facts(self) -> RiderFacts:
        """Return the rider's facts as they are to be."""
        known: dict[str, Any] = {
            "name": self.rider.name,
            "waiver": self.rider.waiver_signed_at is not None,
            "consent": self.rider.guardian_consent_at is not None,
        }
        return RiderFacts(
            **{**known, **self.cleaned_data, "stature_cm": int(self.cleaned_data["stature_cm"])}
        )


class HomeRows:
    """The riders of a booking from home, one to six."""

    def __init__(
        self,
        data: Mapping[str, str] | None,
        *,
        today: date,
        more: bool = False,
        known: Sequence[Mapping[str, Any]] = (),
    ) -> None:
        count = max(len(known), 1)
        asked = None if data is None else whole_number(data.get("rows", ""))
        if asked is not None:
            count = asked + more
        count = min(max(count, 1), MOST_FROM_HOME)
        self.may_grow = count < MOST_FROM_HOME
        self.forms = []
        for number in range(count):
            prefix = f"riders-{number}"
            # A row that was just added is not asked what it lacks.
            fresh = data is None or (more and number == count - 1)
            first = known[number] if number < len(known) else None
            row = HomeRider(None if fresh else data, prefix=prefix, initial=first)
            row.today = today
            self.forms.append(row)

    def is_valid(self) -> bool:
        """Whether every row holds together; all are looked at, so that all errors show at once."""
        whole = [row.is_valid() for row in self.forms]
        return all(whole)

    def refuse(self, refused: Refused) -> bool:
        """Put what is said of `riders.N.field` beside its input; say whether any was."""
        placed = False
        for name, sentence in refused.fields.items():
            which, _dot, field = name.removeprefix("riders.").partition(".")
            if name.startswith("riders.") and which.isdigit():
                self.forms[int(which)].add_error(field, sentence)
                placed = True
        return placed

    @property
    def errors(self) -> list[tuple[str, str, str]]:
        """Errors as (id of the input, label, sentence), for the summary."""
        return [
            (
                row[name].id_for_label,
                f"{gettext('Rider %(number)s') % {'number': number}}, {row.fields[name].label}",
                str(said[0]),
            )
            for number, row in enumerate(self.forms, start=1)
            if row.is_bound
            for name, said in row.errors.items()
        ]


def known_riders(asked: Mapping[str, str]) -> list[dict[str, str]]:
    """Return the riders of a look, to begin a booking with."""
    rows = (
        (asked.get(f"r{number}-mass_kg", ""), asked.get(f"r{number}-level", ""))
        for number in range(LOOK_ROWS)
    )
    return [{"mass_kg": mass, "level": level} for mass, level in rows if mass]


class WholeNumber(forms.IntegerField):
    """A whole number typed on a phone's number pad; the service says what range it may have."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.widget = forms.TextInput(attrs={"inputmode": "numeric", "class": "short", "autocomplete": "off"})


class FrontForm(PlainForm):
    """A manager's rules for people at home. Staff pages are in English."""

    is_open = forms.BooleanField(label="The page is open to everybody", required=False)
    phone = forms.CharField(label="The desk's phone", max_length=30)
    language = forms.ChoiceField(label="Language of letters to parties booked at the desk", choices=LANGUAGES)
    greeting = forms.CharField(label="Greeting", max_length=500, required=False)
    house_rules = forms.CharField(
        label="House rules, shown with the waiver",
        max_length=3000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 5}),
    )
    days_ahead = WholeNumber(label="Open for bookings so many days ahead", initial=7)
    lead_min = WholeNumber(label="Earliest start from now, in minutes", initial=60)
    change_until_min = WholeNumber(
        label="Changes by link until so many minutes before the start", initial=120
    )
    offer_min = WholeNumber(label="A freed place is held for so many minutes", initial=30)

    @classmethod
    def of(cls, front: Front | None, data: Any = None) -> "FrontForm":
        """Return the form filled with what is set."""
        known = {name: getattr(front, name) for name in cls.base_fields} if front else {}
        return cls(data, initial=known)

    def facts(self) -> FrontFacts:
        """Return what was entered."""
        return FrontFacts(**self.cleaned_data)


class SignForm(PlainForm):
    """A name under the waiver; for a minor a guardian's, with relation, phone and consent."""

    version = forms.CharField(max_length=40, widget=forms.HiddenInput)
    name = forms.CharField(
        label=_("Your full name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    relation = forms.ChoiceField(
        label=_("Your relation to the rider"), choices=Signature.Relation.choices, widget=forms.RadioSelect
    )
    phone = forms.CharField(
        label=_("Your phone, where we reach you meanwhile"),
        max_length=30,
        widget=forms.TextInput(attrs={"inputmode": "tel", "autocomplete": "off"}),
    )
    agrees = forms.BooleanField(label=_("I have read the text above and agree to it"))
    consents = forms.BooleanField(label=_("I agree that the rider goes on the water"))

    def __init__(self, data: Any = None, *, minor: bool, version: str) -> None:
        super().__init__(data, initial={"version": version})
        if not minor:
            for name in ("relation", "phone", "consents"):
                del self.fields[name]

    def signed(self, language: str) -> Signed:
        """Return what was signed in the language that was read."""
        cleaned: dict[str, Any] = self.cleaned_data
        return Signed(
            version=cleaned["version"],
            language=language,
            name=" ".join(cleaned["name"].split()),
            relation=cleaned.get("relation", ""),
            phone=cleaned.get("phone", "").strip(),
        )
