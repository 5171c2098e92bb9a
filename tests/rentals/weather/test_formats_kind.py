import pytest

from rentals.weather.formats.kind import Kind, sniff
from rentals.weather.formats.reading import Unreadable
from tests.rentals.weather.samples import sample

AVWX = sample("avwx_engine_metar_taf.txt").splitlines()


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        (sample("locationforecast_compact.json"), Kind.LOCATIONFORECAST),
        (sample("locationforecast_compact.json")[:300], Kind.LOCATIONFORECAST),
        (sample("metpy_metar_20190701_excerpt.txt"), Kind.METAR),
        ("\n".join(AVWX[:8]), Kind.METAR),
        (AVWX[11], Kind.TAF),
        ("TAF EGZZ 0112/0118 20010KT", Kind.TAF),
        (sample("ndbc_44013_stdmet.txt"), Kind.STDMET),
        (sample("ndbc_TPLM2_cwind.txt"), Kind.CWIND),
        ("# mast\ntime;mean (kn);gust (kn)\n", Kind.ANEMOMETER),
        (b"\xef\xbb\xbftime,mean\n", Kind.ANEMOMETER),
    ],
    ids=[
        "json",
        "cut json",
        "metars",
        "bare metars",
        "bare taf",
        "undated taf",
        "stdmet",
        "cwind",
        "csv",
        "bytes",
    ],
)
def test_it_knows_a_file_by_its_first_marks(text: str | bytes, kind: Kind) -> None:
    assert sniff(text) is kind


def test_it_asks_to_part_measured_and_forecast_winds() -> None:
    with pytest.raises(Unreadable, match="METAR and TAF stand together"):
        sniff("\n".join(AVWX))


@pytest.mark.parametrize("text", ["", "Dear desk, it will blow.", "a,b,c\n1,2,3\n", "<html></html>", "\x00"])
def test_it_says_what_can_be_sent_when_it_knows_none(text: str) -> None:
    with pytest.raises(Unreadable, match="no kind known here; send"):
        sniff(text)
