"""Wind typed by hand, and files of wind."""

from typing import Any, Final
from zoneinfo import ZoneInfo

from django import forms

from rentals.lib.forms import MeasureField, MomentForm, NumberField, PlainForm
from rentals.weather.models import EVERY_MIN, FETCHED
from rentals.weather.services import HandHour
from rigging import units, wind

LARGEST_FILE = 5 * 1024 * 1024


MOST_MEAN_MS: Final = float(units.from_knots(80))
MOST_GUST_MS: Final = float(units.from_knots(100))
"""Beyond any wind that is sailed in; a typing error. Status: policy."""


def _height() -> NumberField:
    return NumberField(
        label="Height of the instrument in m",
        unit="m",
        low=0.5,
        high=200,
        initial=10,
        help_text="10 m if in doubt",
    )


class HandForm(MomentForm):
    """A wind that staff expect, as the beach will feel it."""

    day = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    starts_at = forms.CharField(label="From", max_length=12, help_text="such as 14:30")
    ends_at = forms.CharField(label="Until", max_length=12)
    mean = MeasureField(
        label="Mean in {unit}",
        quantity="wind",
        low=0,
        high=MOST_MEAN_MS,
        help_text="as the beach will feel it",
    )
    gust = MeasureField(label="Gusts in {unit}", quantity="wind", low=0, high=MOST_GUST_MS, required=False)
    from_deg = NumberField(label="From, in degrees", unit="degrees", low=0, high=360, required=False)

    def hour(self, zone: ZoneInfo) -> HandHour | None:
        """Return what was entered, lifted from the beach to 10 m; None when a time is off."""
        start = self.moment_of("day", "starts_at", zone)
        end = self.moment_of("day", "ends_at", zone)
        if start is None or end is None:
            return None
        cleaned: dict[str, Any] = self.cleaned_data
        gust, direction = cleaned["gust"], cleaned["from_deg"]
        return HandHour(
            starts_at=start,
            ends_at=end,
            mean_ms=_at_10_m(float(cleaned["mean"])),
            gust_ms=None if gust is None else _at_10_m(float(gust)),
            from_deg=None if direction is None else float(direction) % 360,
        )


class SourceForm(PlainForm):
    """An address that is fetched again and again."""

    kind = forms.ChoiceField(label="Kind", choices=[(kind.value, kind.label) for kind in FETCHED])
    url = forms.URLField(
        label="Address",
        max_length=500,
        assume_scheme="https",
        widget=forms.TextInput(attrs={"inputmode": "url"}),
    )
    every_min = NumberField(
        label="Every so many minutes",
        unit="minutes",
        low=EVERY_MIN[0],
        high=EVERY_MIN[1],
        initial=60,
        decimal_places=0,
    )
    height_m = _height()


class FileForm(PlainForm):
    """A file of a forecast or of readings, in a form we know."""

    file = forms.FileField(
        label="File",
        help_text="Met service JSON, TAF or METAR text, a buoy's text file, or the anemometer's CSV",
    )
    unit = forms.ChoiceField(
        label="Unit of the CSV",
        choices=[("ms", "m/s"), ("kn", "kn"), ("kmh", "km/h")],
        help_text="if it does not say",
    )
    height_m = _height()

    def clean_file(self) -> bytes:
        """Return the content."""
        upload = self.cleaned_data["file"]
        if upload.size > LARGEST_FILE:
            raise forms.ValidationError("Choose a file of at most 5 MB.")
        content: bytes = upload.read()
        return content


def _at_10_m(beach_ms: float) -> float:
    return beach_ms / wind.BEACH_FACTOR
