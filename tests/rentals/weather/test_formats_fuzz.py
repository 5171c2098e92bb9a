"""Whatever text comes in, a reader gives a sound result or a plain refusal, and nothing else."""

import json
import math
from collections.abc import Callable
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from rentals.weather.formats import anemometer, aviation, locationforecast, ndbc
from rentals.weather.formats.kind import Kind, sniff
from rentals.weather.formats.reading import Forecast, ForecastHour, Reading, Readings, Unreadable
from tests.rentals.weather.samples import sample

fuzz = settings(deadline=None, max_examples=200)  # other suites share the machine
ZONE = ZoneInfo("Europe/Lisbon")
REFERENCE = datetime(2022, 3, 17, 6, tzinfo=UTC)

Reader = Callable[[str], Forecast | Readings]
READERS: dict[str, Reader] = {
    "locationforecast": locationforecast.parse,
    "taf": lambda text: aviation.parse_taf(text, reference=REFERENCE),
    "metar": lambda text: aviation.parse_metar(text, reference=REFERENCE),
    "stdmet": lambda text: ndbc.parse_stdmet(text, height_m=4),
    "cwind": lambda text: ndbc.parse_cwind(text, height_m=4),
    "anemometer": lambda text: anemometer.parse_csv(text, zone=ZONE, unit="kn", height_m=4),
}
AVWX = sample("avwx_engine_metar_taf.txt").splitlines()
REAL = {
    "locationforecast": sample("locationforecast_complete_excerpt.json"),
    "taf": AVWX[11],
    "metar": sample("metpy_metar_20190701_excerpt.txt"),
    "stdmet": "\n".join(sample("ndbc_44013_stdmet.txt").splitlines()[:20]),
    "cwind": "\n".join(sample("ndbc_TPLM2_cwind.txt").splitlines()[:20]),
    "anemometer": "time,mean,gust,direction\n2026-07-01 14:00,12.1,17,SW\n2026-10-25 01:30+01:00,14,19.5,230",
}
PARTS = "0123456789/.,;:-+=#GKTMPSVRBZ\n\t \"'{}[]eEnNaAuUlL\x00\ufeff\u2028é"
WORDS = st.sampled_from(
    """METAR SPECI TAF COR AMD NIL CNL AUTO EGZZ KZZZ 011150Z 0112/0118 0113/0115 3123/0106 9999/9999 FM011430
    FM01143 FM BECMG TEMPO PROB30 PROB INTER NOSIG RMK = # 27008KT 27018G31KT VRB02KT 00000KT /////KT 270100KT
    27050GP99KT 08014MPS 99999KT 27008 280V350 CAVOK 9999 15/10 M05/M10 Q1015 A2992 R27/0800 R27///////
    27490550 5///// WS020/24045KT TX19/0114Z TNM05/0118Z WIND AT TL1230 620305 BKN012CB -SHRA""".split()  # noqa: SIM905
)


def soup(words: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.lists(words, max_size=30).map(" ".join)


def damaged(text: str) -> st.SearchStrategy[str]:
    """A real file with a few stretches cut out, replaced or doubled."""
    wound = st.tuples(
        st.integers(0, len(text)), st.integers(0, 60), st.text(PARTS, max_size=6), st.integers(0, 2)
    )

    def apply(wounds: list[tuple[int, int, str, int]]) -> str:
        hurt = text
        for start, length, inserted, copies in wounds:
            hurt = hurt[:start] + inserted + hurt[start : start + length] * copies + hurt[start + length :]
        return hurt

    return st.lists(wound, min_size=1, max_size=4).map(apply)


SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
JSON_VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
)


@st.composite
def wild_features(draw: st.DrawFn) -> str:
    """A forecast of the right shape, with one member of any depth replaced by anything."""
    feature = json.loads(REAL["locationforecast"])
    node = feature
    while True:
        keys = list(node) if isinstance(node, dict) else list(range(len(node)))
        key = draw(st.sampled_from(keys))
        if isinstance(node[key], dict | list) and node[key] and draw(st.integers(0, 9)):
            node = node[key]
            continue
        node[key] = draw(JSON_VALUES)
        return json.dumps(feature)


def assert_sound(result: Forecast | Readings) -> None:
    """Finite, in range, in order, aware; what the database will ask for."""
    if isinstance(result, Forecast):
        assert result.hours
        for hour in result.hours:
            assert 0 < hour.minutes <= 24 * 60
        for one, later in pairwise(result.hours):
            assert one.starts_at + timedelta(minutes=one.minutes) <= later.starts_at
    else:
        assert result.readings
        assert [reading.at for reading in result.readings] == sorted(
            reading.at for reading in result.readings
        )
        assert all(line >= 1 and why for line, why in result.skipped)
    for wind in result.hours if isinstance(result, Forecast) else result.readings:
        assert_believable(wind)


def assert_believable(wind: ForecastHour | Reading) -> None:
    at = wind.starts_at if isinstance(wind, ForecastHour) else wind.at
    assert at.tzinfo is UTC
    numbers = [getattr(wind, field.name) for field in fields(wind)]
    assert all(math.isfinite(number) for number in numbers if isinstance(number, int | float))
    assert 0 <= wind.mean_ms <= 75
    assert wind.gust_ms is None or wind.mean_ms <= wind.gust_ms <= 110
    assert wind.from_deg is None or 0 <= wind.from_deg < 360


def outcome(
    read: Callable[[str], Forecast | Readings | Kind], text: str
) -> Forecast | Readings | Kind | Unreadable:
    try:
        return read(text)
    except Unreadable as refusal:
        return refusal


def read_or_refuse(read: Reader, text: str) -> None:
    result = outcome(read, text)
    if isinstance(result, Forecast | Readings):
        assert_sound(result)
    else:
        assert isinstance(result, Unreadable)
        assert result.sentence
        assert str(result).isprintable()


@pytest.mark.parametrize("name", READERS)
def test_it_reads_the_real_file_that_the_damage_starts_from(name: str) -> None:
    assert_sound(READERS[name](REAL[name]))


@pytest.mark.parametrize("name", READERS)
@fuzz
@given(text=st.text(max_size=400))
@example(text="\x00")
@example(text="\ud800")
def test_it_survives_any_text(name: str, text: str) -> None:
    read_or_refuse(READERS[name], text)


@pytest.mark.parametrize("name", READERS)
@fuzz
@given(data=st.data())
def test_it_survives_a_damaged_real_file(name: str, data: st.DataObject) -> None:
    read_or_refuse(READERS[name], data.draw(damaged(REAL[name])))


@pytest.mark.parametrize("name", ["taf", "metar"])
@fuzz
@given(words=soup(WORDS), head=st.sampled_from(["", "EGZZ 011150Z ", "TAF EGZZ 011150Z 0112/0118 20010KT "]))
@example(words="27490550 27008KT", head="EGZZ 011150Z ")
def test_it_survives_words_of_reports_in_any_order(name: str, words: str, head: str) -> None:
    read_or_refuse(READERS[name], head + words)


@fuzz
@given(text=wild_features())
def test_it_survives_a_forecast_with_any_member_replaced(text: str) -> None:
    read_or_refuse(locationforecast.parse, text)


@fuzz
@given(
    cells=st.lists(
        st.tuples(
            st.datetimes().map(str) | st.datetimes(timezones=st.just(ZONE)).map(str) | st.text(max_size=20),
            st.floats().map(str) | st.text(PARTS, max_size=6),
            st.floats(0, 99).map(str) | st.text(PARTS, max_size=6),
            st.floats().map(str) | st.sampled_from(["N", "ssw", "VRB", "", "-"]),
        ),
        max_size=5,
    ),
    separator=st.sampled_from(",;"),
)
def test_it_survives_any_cells(cells: list[tuple[str, ...]], separator: str) -> None:
    rows = [("time", "mean", "gust", "direction"), *cells]

    read_or_refuse(READERS["anemometer"], "\n".join(separator.join(row) for row in rows))


@fuzz
@given(data=st.binary(max_size=200))
def test_it_refuses_bytes_that_are_no_text(data: bytes) -> None:
    for read in READERS.values():
        read_or_refuse(read, data)  # type: ignore[arg-type]  # readers take what the network gave


@fuzz
@given(text=st.text(max_size=200) | soup(WORDS))
def test_it_sniffs_a_kind_or_refuses(text: str) -> None:
    assert isinstance(outcome(sniff, text), Kind | Unreadable)
