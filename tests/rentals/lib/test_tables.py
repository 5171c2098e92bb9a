"""Tables: what a page shows of a value, and CSV that a spreadsheet opens without running anything."""

import csv
from datetime import date
from decimal import Decimal
from io import StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rentals.lib.tables import Table, Tag, Value, listed, shown


def table(*rows: tuple[Value, ...]) -> Table:
    return Table(name="t", title="T", columns=tuple(f"c{n}" for n in range(len(rows[0]))), rows=rows)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "–"),
        ("", "–"),
        (3, "3"),
        (3.0, "3"),
        (12.345, "12.3"),
        (0.01234, "0.012"),
        (Decimal("1234.5"), "1,234.50"),
        (date(2027, 7, 14), "Wed 14 Jul 2027"),
    ],
)
def test_a_value_is_shown_with_few_decimals(value: Value, text: str) -> None:
    assert shown(value) == text


def test_numbers_stand_right_and_tags_are_linked() -> None:
    (cells,) = table((Tag("S01"), 2, "words")).cells

    assert [(cell.is_tag, cell.is_number) for cell in cells] == [(True, False), (False, True), (False, False)]


@pytest.mark.parametrize("bad", ["=1+1", "+1", "-1", "@cmd", "\tx"])
def test_text_that_a_spreadsheet_would_run_is_quoted(bad: str) -> None:
    # OWASP, CSV injection
    assert list(csv.reader(StringIO(table((bad,)).as_csv())))[1] == [f"'{bad}"]


def test_a_number_that_is_missing_stands_right_as_well() -> None:
    found = list(table((1.5,), (None,)).cells)

    assert [cells[0].is_number for cells in found] == [True, True]


def test_numbers_below_nothing_stay_numbers() -> None:
    assert table((-1.5, -2)).as_csv().splitlines()[1] == "-1.5,-2"


@given(st.lists(st.tuples(st.text(st.characters(exclude_categories=["C"])), st.integers()), min_size=1))
def test_csv_reads_back_as_it_was(rows: list[tuple[str, int]]) -> None:
    read = list(csv.reader(StringIO(table(*rows).as_csv(), newline="")))

    assert [(words.removeprefix("'"), int(number)) for words, number in read[1:]] == [
        (words.removeprefix("'"), number) for words, number in rows
    ]


def test_words_are_listed_as_a_sentence_has_them() -> None:
    assert [listed(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
