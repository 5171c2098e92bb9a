"""What every form shares: numbers with point or comma, refusals beside their fields, times of a zone."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from django import forms

from rentals.lib.forms import MomentForm, NumberField, OnceForm, PlainForm, whole_number
from rentals.lib.problems import Refused

LISBON = ZoneInfo("Europe/Lisbon")


class Scales(PlainForm):
    mass_kg = NumberField(label="Mass in kg", unit="kg", low=20, high=160, decimal_places=1)
    name = forms.CharField(label="Name")


class Slot(MomentForm):
    day = forms.DateField()
    at = forms.CharField()


def weighed(written: str) -> Scales:
    return Scales({"mass_kg": written, "name": "Ada"})


class TestNumberField:
    @pytest.mark.parametrize(
        ("written", "read"),
        [("72.5", "72.5"), ("72,5", "72.5"), (" 72,5 ", "72.5"), ("72", "72"), ("20", "20"), ("160", "160")],
    )
    def test_it_reads_a_point_or_a_comma(self, written: str, read: str) -> None:
        form = weighed(written)

        assert form.is_valid()
        assert form.cleaned_data["mass_kg"] == Decimal(read)

    @pytest.mark.parametrize("written", ["heavy", "72kg", "7,2,5", "1.072,5", "NaN", "Infinity", "1e400x"])
    def test_it_asks_for_a_number_in_its_unit(self, written: str) -> None:
        assert weighed(written).errors["mass_kg"] == ["Enter a number in kg."]

    @pytest.mark.parametrize("written", ["19,9", "160.1", "-72", "0", "1e9"])
    def test_it_says_which_numbers_it_takes(self, written: str) -> None:
        (said,) = weighed(written).errors["mass_kg"]

        assert "between 20 and 160 kg" in said

    def test_it_says_how_many_decimals_it_takes(self) -> None:
        assert "decimal place" in weighed("72.55").errors["mass_kg"][0]

    def test_it_asks_for_what_is_missing(self) -> None:
        assert weighed("").errors["mass_kg"] == ["This is needed."]

    def test_it_keeps_what_was_typed(self) -> None:
        assert 'value="19,9"' in str(weighed("19,9")["mass_kg"])

    def test_it_brings_up_the_number_pad(self) -> None:
        assert 'inputmode="decimal"' in str(Scales()["mass_kg"])


class TestRefusals:
    def test_a_refusal_stands_beside_its_field(self) -> None:
        form = weighed("72")

        form.refuse(Refused.at("mass_kg", "Weigh again."))

        assert form.errors == {"mass_kg": ["Weigh again."]}

    def test_a_service_may_call_a_field_otherwise(self) -> None:
        form = weighed("72")

        form.refuse(Refused.at("mass", "Weigh again."), names={"mass": "mass_kg"})

        assert form.errors == {"mass_kg": ["Weigh again."]}

    @pytest.mark.parametrize("fields", [{}, {"elsewhere": "Not of this form."}], ids=["no field", "no such"])
    def test_a_refusal_about_no_field_of_the_form_stands_at_the_top(self, fields: dict[str, str]) -> None:
        form = weighed("72")

        form.refuse(Refused("Come back later.", fields=fields))

        assert form.non_field_errors() == ["Come back later."]


class TestMoments:
    def test_day_and_time_make_a_moment_of_the_zone(self) -> None:
        form = Slot({"day": "2027-07-14", "at": "9.05"})

        assert form.is_valid()
        assert form.moment_of("day", "at", LISBON) == datetime(2027, 7, 14, 9, 5, tzinfo=LISBON)

    @pytest.mark.parametrize(
        ("day", "at", "said"),
        [
            (date(2027, 3, 28), "01:30", "clocks skip"),
            (date(2027, 10, 31), "01:30", "twice that night"),
            (date(2027, 7, 14), "soon", "such as 14:30"),
        ],
        ids=["gap", "overlap", "no time"],
    )
    def test_what_names_no_one_moment_is_said_beside_the_time(self, day: date, at: str, said: str) -> None:
        form = Slot({"day": str(day), "at": at})

        assert form.is_valid()
        assert form.moment_of("day", "at", LISBON) is None
        assert said in form.errors["at"][0]

    @pytest.mark.parametrize("data", [{"day": "", "at": "9:00"}, {"day": "2027-07-14", "at": ""}])
    def test_a_missing_half_is_no_moment(self, data: dict[str, Any]) -> None:
        form = Slot(data)

        assert not form.is_valid()
        assert form.moment_of("day", "at", LISBON) is None


class TestOnce:
    def test_each_page_brings_a_key_of_its_own(self) -> None:
        keys = {UUID(str(OnceForm()["once"].value())) for _page in range(2)}

        assert len(keys) == 2

    def test_a_key_that_is_none_is_refused(self) -> None:
        assert "once" in OnceForm({"once": "again"}).errors


@pytest.mark.parametrize(
    ("written", "number"),
    [
        ("12", 12),
        ("0", 0),
        ("9" * 18, 10**18 - 1),
        ("9" * 19, None),
        ("9" * 5000, None),
        ("-1", None),
        ("", None),
    ],
    ids=["a row's", "nought", "the longest", "too long for a row", "too long to read", "below", "nothing"],
)
def test_a_number_in_a_link_is_one_that_a_row_can_have(written: str, number: int | None) -> None:
    assert whole_number(written) == number
