"""The day drawn: where bars stand, what is said to those who don't see it, and what is refused."""

import re
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging.drawing.daychart import Bar, Lane, Use, day_chart_svg
from rigging.units import BadValue

START = datetime(2027, 7, 14, 7, tzinfo=UTC)
HOUR = timedelta(hours=1)
END = START + 12 * HOUR


def bar(start: float, end: float, use: Use = Use.RIDE, label: str = "Wren Alder") -> Bar:
    return Bar(START + start * HOUR, START + end * HOUR, use, label)


def drawn(*bars: Bar, now: datetime | None = None, label: str = "Samphire 5.7 S2") -> str:
    return day_chart_svg([Lane(label, bars)], now, START, END, zone=UTC)


def boxes(drawing: str) -> list[tuple[float, float]]:
    """Start and width of every bar, in per cent."""
    root = ElementTree.fromstring(drawing)  # noqa: S314 - our own drawing
    found = root.iter("{http://www.w3.org/2000/svg}rect")
    return [
        (float(rect.attrib["x"].rstrip("%")), float(rect.attrib["width"].rstrip("%")))
        for rect in found
        if rect.attrib.get("x", "").endswith("%")
    ]


def test_a_bar_of_half_the_day_takes_half_the_width() -> None:
    ((start, width),) = boxes(drawn(bar(0, 6)))

    # Two per cent are left free at either side.
    assert (start, width) == (2.0, 48.0)


@given(st.floats(-5, 16), st.floats(0.1, 10))
def test_no_bar_leaves_the_drawing(start: float, hours: float) -> None:
    for left, width in boxes(drawn(bar(start, start + hours))):
        assert left >= 2.0 - 0.01
        assert left + width <= 98.0 + 0.02


def test_a_bar_outside_the_span_is_not_drawn() -> None:
    assert boxes(drawn(bar(-3, -1), bar(13, 14))) == []


def test_it_says_in_words_what_it_draws() -> None:
    drawing = drawn(bar(3, 3.25, Use.BUILD, ""), bar(4, 6), bar(6.5, 8, Use.OUT, "Reed Marsh"))

    assert (
        "Samphire 5.7 S2: 10:00-10:15 built; 11:00-13:00 for a rider Wren Alder; 13:30-15:00 out Reed Marsh."
    ) in drawing


def test_words_are_escaped() -> None:
    drawing = drawn(bar(1, 2, label="<b>&"), label='"Samphire" <5.7>')

    assert ElementTree.fromstring(drawing) is not None  # noqa: S314 - our own drawing
    assert "<b>" not in drawing


def test_the_now_line_stands_where_now_is() -> None:
    drawing = drawn(now=START + 6 * HOUR)

    assert "now 13:00" in drawing
    assert re.search(r'x1="50\.00%"[^>]*class="now"', drawing)


def test_without_rigs_it_says_so() -> None:
    assert "No rig is planned." in day_chart_svg([], None, START, END, zone=UTC)


@pytest.mark.parametrize(
    ("lanes", "start", "end"),
    [
        pytest.param([Lane("S1", (bar(2, 2),))], START, END, id="a bar without length"),
        pytest.param([Lane("S1", (bar(3, 2),))], START, END, id="a bar that runs back"),
        pytest.param([], END, START, id="a day that runs back"),
        pytest.param([], START, START + 73 * HOUR, id="more than three days"),
        pytest.param([], START.replace(tzinfo=None), END, id="no zone"),
        pytest.param([Lane("S1", ())] * 501, START, END, id="more rigs than one can look at"),
    ],
)
def test_what_cannot_be_drawn_is_refused(lanes: list[Lane], start: datetime, end: datetime) -> None:
    with pytest.raises(BadValue):
        day_chart_svg(lanes, None, start, end, zone=UTC)
