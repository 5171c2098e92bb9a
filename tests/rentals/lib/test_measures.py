"""What somebody types in their own unit: read as SI, shown again as typed, and exact by definition."""

import csv
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rentals.lib import measures, show
from rentals.lib.forms import MeasureField, PlainForm
from rigging.units import BEAUFORT_MS

BEAUFORT = Path(__file__).parents[3] / "fixtures" / "reference" / "beaufort.csv"
FORCES = list(csv.DictReader(BEAUFORT.read_text().splitlines()[1:]))
"""WMO-No. 306, table 1100; where it was seen stands in the file."""


@pytest.fixture(autouse=True)
def _as_before() -> Iterator[None]:
    yield
    show.use(show.USUAL)


class Build(PlainForm):
    mass_kg = MeasureField(label="Mass in {unit}", quantity="mass", low=20, high=160, decimals=1)
    stature_cm = MeasureField(
        label="Stature in {unit}", quantity="length", low=100, high=220, decimals=0, required=False
    )
    wind_ms = MeasureField(label="Wind in {unit}", quantity="wind", low=0, high=45, required=False)


IN_POUNDS = show.Units("Bft", "lb", "ft-in")


def built(words: str, field: str = "mass_kg", units: show.Units = IN_POUNDS) -> Build:
    show.use(units)
    return Build({"mass_kg": "70 kg", field: words}, initial={"mass_kg": Decimal("74.5")})


class TestReading:
    @pytest.mark.parametrize(
        ("units", "quantity", "words", "si"),
        [
            # NIST SP 811 (2008), appendix B.8: 1 kn = 1852/3600 m/s, 1 km/h = 1/3.6 m/s
            ("kn kg cm", "wind", "1", 1852 / 3600),
            ("km/h kg cm", "wind", "36", 10.0),
            ("m/s kg cm", "wind", "10", 10.0),
            # NIST SP 811 (2008), appendix B.8: 1 lb = 0.453 592 37 kg, 1 ft = 0.3048 m, 1 in = 2.54 cm
            ("kn lb cm", "mass", "1", 0.45359237),
            ("kn kg ft-in", "length", "1 ft 0 in", 30.48),
            ("kn kg ft-in", "length", "5 ft 10 in", 177.8),
            ("kn kg ft-in", "length", "5'10\"", 177.8),
            ("kn kg ft-in", "length", "5 10", 177.8),
            ("kn kg ft-in", "length", "5' 10,5", 179.07),
            ("kn kg ft-in", "length", "6", 182.88),
            ("kn kg ft-in", "length", "70 in", 177.8),
            # A unit that was typed counts, whatever is usual.
            ("kn lb ft-in", "mass", "74,5 kg", 74.5),
            ("kn lb ft-in", "length", "1.78 m", 178.0),
            ("kn kg cm", "mass", "164 lbs", 164 * 0.45359237),
            ("kn kg cm", "length", "5 ft 10 in", 177.8),
            ("Bft kg cm", "wind", "12 kn", 12 * 1852 / 3600),
            ("kn kg cm", "wind", "4 Bft", 6.69),
        ],
    )
    def test_a_number_counts_in_its_unit(
        self, units: str, quantity: measures.Quantity, words: str, si: float
    ) -> None:
        show.use(show.Units.read(units))

        assert measures.read(quantity, words) == pytest.approx(si, rel=1e-12)

    @pytest.mark.parametrize(
        ("units", "quantity", "words"),
        [
            ("kn kg cm", "mass", "heavy"),
            ("kn kg cm", "mass", "-72"),
            ("kn kg cm", "mass", "72 st"),
            ("kn kg cm", "mass", "72 cm"),
            ("kn kg cm", "mass", "1e9"),
            ("kn kg cm", "mass", "NaN"),
            ("kn kg cm", "wind", "12 kn 3"),
            ("Bft kg cm", "wind", "4.5"),
            ("Bft kg cm", "wind", "13"),
            ("kn kg ft-in", "length", "5.10"),
            ("kn kg ft-in", "length", "178"),
        ],
    )
    def test_what_is_none_or_could_be_two_things_is_refused(
        self, units: str, quantity: measures.Quantity, words: str
    ) -> None:
        show.use(show.Units.read(units))

        with pytest.raises(measures.NotAMeasure):
            measures.read(quantity, words)

    @pytest.mark.parametrize("row", FORCES, ids=lambda row: row["name"])
    def test_a_typed_force_stands_for_a_wind_within_it(self, row: dict[str, str]) -> None:
        wind_ms = measures.FORCE_MS[int(row["number"])]

        assert float(row["low_ms"]) <= wind_ms <= float(row["high_ms"] or "inf")

    def test_the_limits_of_the_forces_are_the_published_ones(self) -> None:
        assert [float(row["low_ms"]) for row in FORCES[1:]] == list(BEAUFORT_MS)


QUANTITIES: list[tuple[measures.Quantity, str, Callable[[float], str], tuple[float, float]]] = [
    *(("wind", f"{unit} kg cm", show.kn, (0, 45)) for unit in show.CHOICES["wind"]),
    *(("mass", f"kn {unit} cm", show.mass, (20, 160)) for unit in show.CHOICES["mass"]),
    *(("length", f"kn kg {unit}", show.stature, (100, 220)) for unit in show.CHOICES["length"]),
]


@pytest.mark.parametrize(("quantity", "units", "shown", "span"), QUANTITIES, ids=lambda each: str(each)[:12])
class TestThereAndBack:
    @given(share=st.floats(0, 1))
    def test_what_is_shown_reads_as_what_is_shown(
        self,
        quantity: measures.Quantity,
        units: str,
        shown: Callable[[float], str],
        span: tuple[float, float],
        share: float,
    ) -> None:
        show.use(show.Units.read(units))
        words = shown(span[0] + share * (span[1] - span[0]))

        assert shown(measures.read(quantity, words)) == words

    @given(share=st.floats(0, 1))
    def test_what_stands_in_an_input_reads_as_what_stands_there(
        self,
        quantity: measures.Quantity,
        units: str,
        shown: Callable[[float], str],
        span: tuple[float, float],
        share: float,
    ) -> None:
        show.use(show.Units.read(units))
        words = measures.typed(quantity, span[0] + share * (span[1] - span[0]))

        assert measures.typed(quantity, measures.read(quantity, words)) == words


@given(tenths=st.integers(200, 1600))
def test_a_mass_to_a_tenth_of_a_kilogram_survives_pounds(tenths: int) -> None:
    mass_kg = Decimal(tenths) / 10
    show.use(IN_POUNDS)

    assert round(Decimal(str(measures.read("mass", measures.typed("mass", float(mass_kg))))), 1) == mass_kg


class TestTheField:
    def test_it_is_named_and_filled_in_the_reader_s_unit(self) -> None:
        show.use(IN_POUNDS)
        form = Build(initial={"mass_kg": Decimal("74.5"), "stature_cm": 178, "wind_ms": 6.0})

        assert [str(form[name].label) for name in form.fields] == [
            "Mass in lb",
            "Stature in ft-in",
            "Wind in Bft",
        ]
        assert [form[name].value() for name in form.fields] == ["164.2", "5 ft 10 in", "4"]

    def test_it_cleans_to_si(self) -> None:
        form = built("164.2")

        assert form.is_valid()
        assert form.cleaned_data["mass_kg"] == Decimal("74.5")

    @pytest.mark.parametrize("field", ["mass_kg", "stature_cm", "wind_ms"])
    def test_what_was_not_touched_stays_exactly_as_it_was(self, field: str) -> None:
        show.use(IN_POUNDS)
        known = {"mass_kg": Decimal("74.5"), "stature_cm": 179, "wind_ms": 9.2592}
        filled = Build(initial=known)
        form = Build({name: filled[name].value() for name in known}, initial=known)

        assert form.is_valid()
        assert form.cleaned_data[field] == Decimal(str(known[field]))

    def test_on_error_it_echoes_what_was_typed(self) -> None:
        form = built("16,4 lb")

        assert not form.is_valid()
        assert 'value="16,4 lb"' in str(form["mass_kg"])

    @pytest.mark.parametrize(
        ("field", "words", "said"),
        [
            # 20 kg is 44.1 lb and 160 kg 352.7 lb: the least and most whole pounds within.
            ("mass_kg", "16", "Enter a number between 45 and 352 lb."),
            ("mass_kg", "heavy", "Enter a number in lb."),
            ("stature_cm", "8 ft 1 in", "Enter a number between 3 ft 4 and 7 ft 2 in."),
            ("stature_cm", "178", "Enter a number in ft and in, such as 5 ft 10."),
            ("wind_ms", "4.5", "Enter a number in Bft, a whole one."),
        ],
    )
    def test_it_refuses_in_the_reader_s_unit(self, field: str, words: str, said: str) -> None:
        assert built(words, field).errors[field] == [said]

    def test_forces_beyond_the_range_are_named_too(self) -> None:
        show.use(IN_POUNDS)

        assert measures.within("wind", 0.5, 30) == ("1", "10", "Bft")
