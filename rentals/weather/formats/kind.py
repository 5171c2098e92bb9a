"""Which reader a file of unknown kind is for."""

import re
from enum import StrEnum

from rentals.weather.formats.anemometer import columns
from rentals.weather.formats.bulletin import reports
from rentals.weather.formats.ndbc import header_names
from rentals.weather.formats.quantities import decoded
from rentals.weather.formats.reading import Unreadable


class Kind(StrEnum):
    """The kinds of file there is a reader for."""

    LOCATIONFORECAST = "locationforecast"
    TAF = "taf"
    METAR = "metar"
    STDMET = "stdmet"
    CWIND = "cwind"
    ANEMOMETER = "anemometer"


def sniff(text: str | bytes) -> Kind:
    """The kind of a file by its first marks; its reader may still refuse it.

    Raises:
        Unreadable: when it looks like none, or like METAR and TAF at once.
    """
    plain = decoded(text)
    if plain.lstrip().startswith("{"):
        return Kind.LOCATIONFORECAST
    names = header_names(plain)
    if names:
        return Kind.CWIND if "GTIME" in names else Kind.STDMET
    if _is_anemometer(plain):
        return Kind.ANEMOMETER
    return _aviation(plain)


def _is_anemometer(text: str) -> bool:
    lines = re.split(r"\r\n|\r|\n", text)
    header = next((line for line in lines if line.strip() and not line.lstrip().startswith("#")), "")
    try:
        columns(header)
    except Unreadable:
        return False
    return True


def _aviation(text: str) -> Kind:
    found = [report for report in reports(text) if report.is_dated or report.is_taf]
    tafs = sum(report.is_taf for report in found)
    if not found:
        raise Unreadable(
            "This file is of no kind known here; send a location forecast (JSON), METAR or TAF text, "
            "a buoy file, or a CSV whose first line names time and mean."
        )
    if 0 < tafs < len(found):
        raise Unreadable("METAR and TAF stand together here; send the measured and the forecast winds apart.")
    return Kind.TAF if tafs else Kind.METAR
