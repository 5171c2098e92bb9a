"""Charts: drawn on the server, named and described, with nothing that a strict policy refuses."""

import subprocess
import sys
from xml.etree import ElementTree as ET

import pytest

from rentals.lib import charts

SPECS = {
    "bars": charts.bars(["sail 4.5 m²", "<b>&\"'"], [3.5, 0.0], unit="hours"),
    "stacks": charts.stacks(["Jun", "Jul"], {"afloat": [1, 2], "cancelled": [0, 1]}, unit="outings"),
    "whiskers": charts.whiskers(["Jun", "Jul"], [1.0, 2.0], [0.5, 1.0], [3.0, 5.0], unit="per thousand"),
    "band": charts.band([1, 2, 3], [1, 2, 3], [0, 1, 2], [2, 3, 4], along_unit="h", unit="per 1,000 h"),
}
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(params=SPECS)
def drawing(request: pytest.FixtureRequest) -> ET.Element:
    return ET.fromstring(charts.drawn(SPECS[request.param], title="Hours <&>", says="Most: 3.5 h"))  # noqa: S314


def test_it_is_an_image_with_title_and_words(drawing: ET.Element) -> None:
    said = {each.get("id"): each.text for each in drawing if each.tag in (f"{SVG}title", f"{SVG}desc")}

    assert drawing.get("role") == "img"
    assert said[drawing.get("aria-labelledby")] == "Hours <&>"
    assert said[drawing.get("aria-describedby")] == "Most: 3.5 h"


def test_it_carries_no_style_script_or_outside_address(drawing: ET.Element) -> None:
    for each in drawing.iter():
        assert each.tag.removeprefix(SVG) not in ("style", "script", "foreignObject", "image", "a")
        assert not {
            name for name in each.attrib if name == "style" or name.startswith("on") or "href" in name
        }


def test_it_draws_a_bar_for_each_value() -> None:
    drawing = ET.fromstring(charts.drawn(SPECS["stacks"], title="", says=""))  # noqa: S314

    bars = [each.get("aria-label") for each in drawing.iter() if each.get("aria-roledescription") == "bar"]
    assert len(bars) == 4


def test_the_same_chart_is_drawn_once() -> None:
    first, again = (charts.drawn(SPECS["bars"], title="Once", says="") for _ in range(2))

    assert first is again


def test_the_drawing_engine_is_loaded_by_the_first_chart_alone() -> None:
    code = "import sys, rentals.lib.charts; sys.exit('vl_convert' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
