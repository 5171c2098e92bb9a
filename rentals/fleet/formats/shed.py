"""The shed as CSV: read as people's sheets come, written so that no sheet runs what is in it."""

import csv
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from io import StringIO
from typing import Final

from rentals.lib.tables import no_formula

LARGEST_BYTES: Final = 2 * 2**20
MOST_ROWS: Final = 5000


class UnreadableSheet(ValueError):
    """The file is no sheet of a shed; the message says what to send."""


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a sheet: its number as an editor shows it, and its cells by column."""

    number: int
    cells: Mapping[str, str]
    surplus: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet's columns and rows."""

    columns: tuple[str, ...]
    lines: tuple[Line, ...]


def decoded(content: bytes) -> str:
    """Return a file's text: UTF-8 with or without a mark, UTF-16 with one, else Western European.

    Raises:
        UnreadableSheet: too large, or no text at all.
    """
    if len(content) > LARGEST_BYTES:
        raise UnreadableSheet(f"Send at most {LARGEST_BYTES // 2**20} MB.")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        codecs: tuple[str, ...] = ("utf-16",)
    else:
        codecs = ("utf-8-sig", "cp1252")
    for codec in codecs:
        try:
            text = content.decode(codec)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    raise UnreadableSheet("This is no text. Save the sheet as CSV and send that.")


def read(text: str) -> Sheet:
    """Return the sheet of a CSV text, whatever of comma, semicolon and tab parts its cells.

    Raises:
        UnreadableSheet: no heading with a tag, twice the same column, too many rows, or a quote left open.
    """
    first = text.lstrip("\ufeff").split("\n", 1)[0]
    comma = max(",;\t", key=first.count)
    try:
        rows = [
            (reader_line, row)
            for reader_line, row in _numbered(text.lstrip("\ufeff"), comma)
            if any(cell.strip() for cell in row)
        ]
    except csv.Error as error:
        raise UnreadableSheet(f"The sheet cannot be read: {error}. Save it as CSV again.") from error
    if not rows:
        raise UnreadableSheet("The sheet is empty. Its first row names the columns; see an export.")
    columns = tuple(_column(cell) for cell in rows[0][1])
    named = [column for column in columns if column]
    if "tag" not in named:
        raise UnreadableSheet("The first row must name the columns, “tag” among them; see an export.")
    if len(set(named)) < len(named):
        raise UnreadableSheet("Two columns have the same name. Remove one.")
    if len(rows) - 1 > MOST_ROWS:
        raise UnreadableSheet(f"Send at most {MOST_ROWS} rows at once.")
    lines = (
        Line(
            line,
            {column: _plain(cell) for column, cell in zip(columns, row, strict=False) if column},
            surplus=any(cell.strip() for cell in row[len(columns) :]),
        )
        for line, row in rows[1:]
    )
    return Sheet(columns=tuple(named), lines=tuple(lines))


def number(cell: str) -> float:
    """Return a number written with a point or a comma.

    Raises:
        ValueError: it is none.
    """
    if not re.fullmatch(r"[+-]?\d+([.,]\d+)?", cell):
        raise ValueError("Enter a number such as 4.2.")
    return float(cell.replace(",", "."))


def day(cell: str) -> date:
    """Return a day written as 2026-04-30 or 30.4.2026.

    Raises:
        ValueError: it is none, or one whose day and month cannot be told apart.
    """
    dotted = re.fullmatch(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", cell)
    try:
        if dotted:
            return date(int(dotted[3]), int(dotted[2]), int(dotted[1]))
        return date.fromisoformat(cell)
    except ValueError:
        raise ValueError("Enter a day such as 2026-04-30.") from None


def truth(cell: str) -> bool:
    """Return yes or no.

    Raises:
        ValueError: it is neither.
    """
    word = cell.casefold()
    if word in ("yes", "y", "true", "1", "x"):
        return True
    if word in ("no", "n", "false", "0"):
        return False
    raise ValueError("Enter yes or no.")


def _numbered(text: str, comma: str) -> Iterable[tuple[int, list[str]]]:
    reader = csv.reader(StringIO(text, newline=""), delimiter=comma, strict=True)
    for row in reader:
        yield reader.line_num, row


def _column(cell: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", cell.strip().casefold()).strip("_")


def _plain(cell: str) -> str:
    text = cell.strip()
    return text[1:] if no_formula(text[1:]) == text else text
