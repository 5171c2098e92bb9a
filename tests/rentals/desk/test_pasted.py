"""A pasted list: any order, headings or tabs, units as people write them. Common practice, no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rentals.desk.mapping import read_list

ANNA = {
    "name": "Anna Bell",
    "mass_kg": "74.5",
    "stature_cm": "178",
    "level": "beginner",
    "born_on": "1990-05-17",
}


@pytest.mark.parametrize(
    "text",
    [
        "Anna Bell\t74,5\t178\tbeginner\t1990-05-17",
        "1990-05-17;beginner;178;74.5;Anna Bell",
        "Anna Bell, 74,5, 178, beginner, 1990-05-17",
        "Anna,Bell,74.5 kg,1.78,Beginner,17.5.1990",
        "Anna Bell 74.5 kg 178 cm beginner 17/05/1990",
        "Name\tMass (kg)\tHeight in cm\tLevel\tDate of birth\nAnna Bell\t74,5\t178\tbeginner\t17.05.1990",
        "Vorname;Nachname;Gewicht;Größe;Können;Geburtsdatum\nAnna;Bell;74,5;1,78;Anfänger;17.5.1990",
        '"Anna Bell","74.5","178","principiante","1990/5/17"\n\n',
    ],
    ids=["tabs", "semicolons", "commas", "two names", "words", "headings", "German headings", "quoted"],
)
def test_one_rider_is_read_alike_however_written(text: str) -> None:
    (found,) = read_list(text)

    assert (found.fields, found.left) == (ANNA, [])


@pytest.mark.parametrize(
    ("cell", "fields"),
    [
        # NIST SP 811 (2008), appendix B.8: 1 lb = 0.453 592 37 kg, 1 in = 2.54 cm
        ("165 lbs", {"mass_kg": "74.8"}),
        ("5'10\"", {"stature_cm": "178"}),
        ("1.78 m", {"stature_cm": "178"}),
        ("181", {"stature_cm": "181"}),
        ("81", {"mass_kg": "81"}),
        ("+49 170 1234567", {"phone": "+49 170 1234567"}),
    ],
)
def test_a_cell_is_known_by_its_look(cell: str, fields: dict[str, str]) -> None:
    (found,) = read_list(f"Jo;{cell}")

    assert found.fields == {"name": "Jo", **fields}


def test_what_is_not_understood_is_left_over_not_lost() -> None:
    (found,) = read_list("Jo;81;178;62;left-handed 2nd day;31.2.1990")

    assert found.fields == {"name": "Jo"}
    assert found.left == ["left-handed 2nd day", "31.2.1990", "62", "81", "178"]


def test_under_a_heading_a_wrong_value_stays_to_be_seen() -> None:
    (found,) = read_list("Name;Mass;Born\nJo;heavy;yesterday")

    assert found.fields == {"name": "Jo", "mass_kg": "heavy", "born_on": "yesterday"}


def test_eight_lines_are_eight_riders() -> None:
    lines = [f"Rider {letter}, {60 + place}, 170" for place, letter in enumerate("ABCDEFGH")]

    assert [each.fields["mass_kg"] for each in read_list("\n".join(lines))] == [str(60 + n) for n in range(8)]


@given(st.text(max_size=300))
def test_any_text_is_read_without_a_fault(text: str) -> None:
    for each in read_list(text):
        assert all(isinstance(value, str) for value in [*each.fields.values(), *each.left])
