"""A list of riders as somebody pastes it, read into the fields of a booking: any order, headings or none."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from rentals.lib import measures
from rigging.levels import Level

HEADINGS: Final[Mapping[str, tuple[str, ...]]] = {
    "name": ("name", "rider", "first name", "last name", "surname", "vorname", "nachname", "nombre", "nom"),
    "born_on": ("born", "born on", "birth date", "birthdate", "date of birth", "dob", "birthday",
                "geburtsdatum", "geboren", "fecha de nacimiento", "né le", "date de naissance"),
    "mass_kg": ("mass", "weight", "kg", "gewicht", "peso", "poids"),
    "stature_cm": ("stature", "height", "cm", "größe", "groesse", "altura", "estatura", "taille"),
    "level": ("level", "können", "stufe", "nivel", "niveau"),
    "phone": ("phone", "mobile", "tel", "telephone", "telefon", "handy", "teléfono", "móvil", "téléphone"),
    "guardian_name": ("guardian", "parent", "eltern", "tutor", "parents"),
    "guardian_phone": ("guardian phone", "guardian's phone", "parent phone"),
}  # fmt: skip
"""What the columns of such lists are called. Status: common practice, no source."""

LEVEL_WORDS: Final[Mapping[str, str]] = {
    **{level.value: level.value for level in Level},
    **dict.fromkeys(("first time", "never"), Level.TASTER.value),
    **dict.fromkeys(("novice", "anfänger", "principiante", "débutant"), Level.BEGINNER.value),
    **dict.fromkeys(("fortgeschritten", "intermedio", "intermédiaire"), Level.INTERMEDIATE.value),
    **dict.fromkeys(("avanzado", "avancé"), Level.ADVANCED.value),
    **dict.fromkeys(("experte", "experto"), Level.EXPERT.value),
}
"""How such lists name a level. Status: common practice, no source."""

LEAST_HEADINGS: Final = 2
LEAST_PHONE_DIGITS: Final = 7
TALLEST_M: Final = 2.5
"""A bare number up to here is a stature in metres. Status: policy."""

MASS_AND_STATURE: Final = ("mass_kg", "stature_cm")
TALLER_THAN_HEAVY: Final = 130
"""A lone bare number from here on is a stature in cm, below it a mass in kg. Status: policy."""

MASS_UNITS: Final = ("kg", "kilo", "kilos", "lb", "lbs")
TO_FORM: Final = {"lb": 0.45359237, "lbs": 0.45359237, "m": 100.0, "in": 2.54, "ft": 30.48}
"""Units of such lists in kg or cm. Source: NIST SP 811 (2008), appendix B.8; status: published."""

_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})$")
_DAY_FIRST = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4})$")
_NUMBER = re.compile(r"(\d+(?:[.,]\d+)?)\s*(kg|kilos?|lbs?|cm|m|ft)?\.?$", re.IGNORECASE)
_FEET = re.compile(r"(\d)\s*(?:'|ft|′)\s*(\d{1,2})\s*(?:\"|in|″)?$", re.IGNORECASE)
_PHONE = re.compile(r"\+?[\d ()/-]+$")
_UNIT_APART = re.compile(r"(\d)\s+(kg|kilos?|lbs?|cm|m|ft)\b", re.IGNORECASE)
_COMMA = re.compile(r",\s+|,(?=\D)|(?<=\D),|,(?=\d{2,})")


@dataclass(slots=True)
class Pasted:
    """One line of the list: fields by name, and what was not understood."""

    fields: dict[str, str] = field(default_factory=dict)
    left: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        """The rider's name, "" when none was found."""
        return self.fields.get("name", "")


def read_list(text: str) -> list[Pasted]:
    """Read a pasted list, one rider a line; columns by their headings, or each cell by what it looks like.

    A day stands before its month; of two bare numbers the smaller is the mass, the larger the stature.
    """
    lines = [line for line in text.splitlines() if line.strip()]
    rows = [[cell.strip(' "') for cell in _cells(line, text)] for line in lines]
    columns = _headings(rows[0]) if rows else None
    return [_read(row, columns) for row in (rows[1:] if columns else rows) if any(row)]


def _cells(line: str, text: str) -> list[str]:
    """Split a line by what the whole list is split by: tabs, semicolons, commas, else words."""
    for mark in ("\t", ";"):
        if mark in text:
            return line.split(mark)
    if "," in text and len(found := _COMMA.split(line)) > 1:
        return found
    return list(_phrases(_UNIT_APART.sub(r"\1\2", line).split()))


def _phrases(words: Sequence[str]) -> Iterator[str]:
    """Join the words of names; numbers, dates and levels stand alone."""
    name: list[str] = []
    for word in words:
        if any(letter.isdigit() for letter in word) or word.casefold() in LEVEL_WORDS:
            yield from ([" ".join(name)] if name else [])
            yield word
            name = []
        else:
            name.append(word)
    yield from ([" ".join(name)] if name else [])


def _headings(row: Sequence[str]) -> list[str] | None:
    """Return the field of each column, "" for one that we do not keep; None when these are no headings."""
    known = {word.casefold(): name for name, words in HEADINGS.items() for word in words}
    cells = [re.sub(r"\s*[(\[].*", "", cell).strip(" .:").casefold() for cell in row]
    cells = [re.sub(r"\s+in\s+\w+$", "", cell) for cell in cells]
    columns = [known.get(cell, "") for cell in cells]
    return columns if sum(map(bool, columns)) >= LEAST_HEADINGS else None


def _read(row: Sequence[str], columns: Sequence[str] | None) -> Pasted:
    found = Pasted()
    numbers: list[float] = []
    for place, cell in enumerate(row):
        if not cell:
            continue
        if columns is None:
            _guess(found, cell, numbers)
        elif name := (columns[place] if place < len(columns) else ""):
            _keep(found, name, _as_typed(name, cell))
        else:
            found.left.append(cell)
    _share_out(found, sorted(numbers))
    return found


def _as_typed(name: str, cell: str) -> str:
    """Return a cell under its heading as the form takes it; what cannot be read stays, to be seen."""
    if name == "born_on":
        return _day(cell) or cell
    if name == "level":
        return LEVEL_WORDS.get(cell.casefold(), cell)
    if name in MASS_AND_STATURE:
        measured = _measured(cell)
        if measured is None:
            return cell
        value, unit = measured
        bare_m = name == "stature_cm" and not unit and value <= TALLEST_M
        return _plain(name, value * 100 if bare_m else _si(value, unit) if unit else _bare(name, value))
    return cell


def _guess(found: Pasted, cell: str, numbers: list[float]) -> None:
    """Keep a cell by what it looks like."""
    measured = _measured(cell)
    if day := _day(cell):
        _keep(found, "born_on", day)
    elif level := LEVEL_WORDS.get(cell.casefold()):
        _keep(found, "level", level)
    elif measured and measured[1]:
        name = "mass_kg" if measured[1] in MASS_UNITS else "stature_cm"
        _keep(found, name, _plain(name, _si(*measured)))
    elif measured and len(cell) < LEAST_PHONE_DIGITS:
        numbers.append(measured[0] * 100 if measured[0] <= TALLEST_M else measured[0])
    elif _PHONE.match(cell) and sum(map(str.isdigit, cell)) >= LEAST_PHONE_DIGITS:
        _keep(found, "phone", cell)
    elif any(map(str.isalpha, cell)) and not any(map(str.isdigit, cell)):
        _keep(found, "name", cell)
    else:
        found.left.append(cell)


def _keep(found: Pasted, name: str, value: str) -> None:
    """Keep a field; first and last names in two cells make one name, anything else twice is left over."""
    if name not in found.fields:
        found.fields[name] = value
    elif name == "name":
        found.fields[name] += f" {value}"
    else:
        found.left.append(value)


def _share_out(found: Pasted, numbers: list[float]) -> None:
    """Give bare numbers to mass and stature: both when there are two, else to what is missing."""
    open_fields = [name for name in MASS_AND_STATURE if name not in found.fields]
    if len(numbers) == 1 and len(open_fields) == len(MASS_AND_STATURE):
        # Who counts in feet never writes a stature as one bare number.
        tall = numbers[0] >= TALLER_THAN_HEAVY and measures.unit_of("length") == "cm"
        open_fields = ["stature_cm" if tall else "mass_kg"]
    if len(numbers) > len(open_fields):
        # Which is which cannot be told, so none is taken.
        found.left.extend(f"{number:g}" for number in numbers)
        return
    for name, number in zip(open_fields, numbers, strict=False):
        found.fields[name] = _plain(name, _bare(name, number))


def _day(cell: str) -> str | None:
    """Return a date as ISO has it, None for what is none."""
    if found := _ISO.match(cell):
        year, month, day = map(int, found.groups())
    elif found := _DAY_FIRST.match(cell):
        day, month, year = map(int, found.groups())
    else:
        return None
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        return None


def _measured(cell: str) -> tuple[float, str] | None:
    """Return a number and its unit, "" for none."""
    if found := _FEET.match(cell):
        return int(found[1]) * 12 + int(found[2]), "in"
    if found := _NUMBER.match(cell):
        return float(found[1].replace(",", ".")), (found[2] or "").lower()
    return None


def _si(value: float, unit: str) -> float:
    return value * TO_FORM.get(unit, 1.0)


def _bare(name: str, value: float) -> float:
    """Read a mass without a unit in the reader's own; a stature without one is in cm."""
    return value * measures.SI["mass"][measures.unit_of("mass")] if name == "mass_kg" else value


def _plain(name: str, value: float) -> str:
    """Write a mass to a tenth of a kilogram, a stature to whole centimetres."""
    return f"{value:.0f}" if name == "stature_cm" else f"{value:.1f}".removesuffix(".0")
