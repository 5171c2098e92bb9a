"""Tables: one form for the page, the CSV beside it and the chart's alternative in words."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from io import StringIO
from typing import Final

from django.http import HttpResponse

from rentals.lib import show

Value = str | int | float | Decimal | date | None

_MAY_BE_A_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes text that begins so for a formula (OWASP, CSV injection)."""

DIGITS: Final = 1


class Tag(str):
    """An item's tag, which pages link."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Cell:
    """One value of a table as a page shows it."""

    text: str
    label: str
    is_number: bool
    is_tag: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of values under their headings; units are in the headings. `name` is its word in addresses."""

    name: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]
    says: str = ""
    when_empty: str = "Nothing on record in this time."

    @property
    def heads(self) -> Iterator[tuple[str, bool]]:
        """Headings, and whether numbers stand below them."""
        return zip(self.columns, self._numeric, strict=True)

    @property
    def _numeric(self) -> list[bool]:
        """Whether a column has numbers: those it lacks stand right as well."""
        return [any(_is_number(row[place]) for row in self.rows) for place in range(len(self.columns))]

    @property
    def cells(self) -> Iterator[tuple[Cell, ...]]:
        """Rows as a page shows them."""
        heads = list(self.heads)
        for row in self.rows:
            yield tuple(
                Cell(shown(value), label, is_number, isinstance(value, Tag))
                for value, (label, is_number) in zip(row, heads, strict=True)
            )

    def as_csv(self) -> str:
        """Return the table as CSV."""
        return csv_text(self.columns, self.rows)

    def as_file(self, name: str = "") -> HttpResponse:
        """Hand the table out as a CSV file of that name, or of its own."""
        return csv_answer(self.as_csv(), name or self.name)


def csv_text(columns: Sequence[str], rows: Iterable[Iterable[object]]) -> str:
    """Return rows as CSV (RFC 4180), floats to six digits, safe to open in a spreadsheet."""
    written = StringIO()
    writer = csv.writer(written)
    writer.writerow(columns)
    writer.writerows([_plain(cell) for cell in row] for row in rows)
    return written.getvalue()


def no_formula(text: str) -> str:
    """Return text that no spreadsheet runs: a formula's first sign gets an apostrophe before it."""
    return f"'{text}" if text.startswith(_MAY_BE_A_FORMULA) else text


def csv_answer(text: str, name: str) -> HttpResponse:
    """Hand CSV out as a file of that name."""
    return HttpResponse(
        text,
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}.csv"'},
    )


def shown(value: Value) -> str:
    """Return a value as a page shows it: days in words, numbers with few decimals, a dash for none."""
    if isinstance(value, date):
        return show.day(value)
    if isinstance(value, Decimal):
        return f"{value:,.2f}"
    if isinstance(value, float):
        return show.num(value, DIGITS) if abs(value) >= 1 or value == 0 else f"{value:.2g}"
    return show.MISSING if value is None or value == "" else str(value)


def listed(words: Sequence[str]) -> str:
    """Return words as a sentence lists them: a, b and c."""
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def _is_number(value: Value) -> bool:
    return isinstance(value, int | float | Decimal)


def _plain(value: object) -> str:
    if isinstance(value, str):
        return no_formula(value)
    return "" if value is None else f"{value:.6g}" if isinstance(value, float) else str(value)
