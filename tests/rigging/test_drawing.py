"""Drawings: to scale, readable by everyone, safe under a strict content security policy."""

import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging.drawing import rig_svg, search_svg, wind_day_svg
from rigging.drawing.itemlife import Kind, Mark, Used, item_life_svg
from rigging.drawing.life import life_svg
from rigging.drawing.outline import Outline, polygon_area, sail_outline
from rigging.drift import Drifter, LastKnown, WindStep, drift
from rigging.kit import Base, Boom, Diameter, Extension, Mast, Sail
from rigging.units import BadValue
from rigging.wear import kaplan_meier, life_of_groups, preventive_age, records
from rigging.wind import Hour

SVG = "{http://www.w3.org/2000/svg}"
DAY = datetime(2026, 7, 4, 8, tzinfo=ZoneInfo("Europe/London"))
SAIL = Sail(
    name="Sea Holly",
    area_m2=5.3,
    luff_cm=436,
    boom_cm=176,
    diameters=frozenset({Diameter.RDM}),
    imcs=20,
    clew_height_cm=138,
)
MAST = Mast(name="Thrift", length_cm=400, diameter=Diameter.RDM, imcs=19)
BOOM = Boom(name="Cord Grass", min_cm=150, max_cm=210, clamps=frozenset({Diameter.RDM}))
EXTENSION = Extension(name="Samphire", diameter=Diameter.RDM, min_cm=0, max_cm=46)
BASE = Base(name="Sea Kale")


def rig(sail: Sail = SAIL, **changed: object) -> str:
    settings = {"extension_cm": 36, "boom_cm": 178, "boom_height_cm": 134, "downhaul": "+2 cm", **changed}
    return rig_svg(sail, MAST, BOOM, EXTENSION, BASE, **settings)  # type: ignore[arg-type]


def hours(count: int = 12, missing: tuple[int, ...] = ()) -> list[Hour]:
    return [
        Hour(
            start=DAY + timedelta(hours=i), minutes=60, mean_ms=5 + i / 4, gust_ms=8 + i / 4, from_deg=30 * i
        )
        for i in range(count)
        if i not in missing
    ]


def wind_day(winds: list[Hour] | None = None, **changed: object) -> str:
    settings = {"zone": DAY.tzinfo, "windows": [("5.3", 7.0, 9.0, 12.0)], **changed}
    given_hours = hours() if winds is None else winds
    now = DAY + timedelta(hours=3, minutes=30)
    return wind_day_svg(given_hours, now, DAY, DAY + timedelta(hours=12), **settings)  # type: ignore[arg-type]


def search(**changed: object) -> str:
    seen = LastKnown(latitude_deg=54.1, longitude_deg=-3.2, at=DAY)
    winds = [WindStep(start=DAY, minutes=120, wind10_ms=9, from_deg=40)]
    until = DAY + timedelta(hours=2)
    drifts = [drift(each, seen, winds, until, particles=500) for each in (Drifter.WINDSURFER, Drifter.PERSON)]
    return search_svg(drifts, **changed)  # type: ignore[arg-type]


def life(**changed: object) -> str:
    hours, failed = [40, 120, 90, 60, 80, 100], [1, 1, 1, 0, 0, 0]
    base = life_of_groups({"base": records(hours, failed)})["base"]
    settings = {"ages_h": [20.0, 70.0], "replacement": preventive_age(base, 1, 20), **changed}
    return life_svg(base, kaplan_meier(hours, failed), **settings)  # type: ignore[arg-type]


def item_life(**changed: object) -> str:
    settings: dict[str, object] = {
        "first": date(2027, 1, 1),
        "last": date(2027, 4, 11),
        "used": [Used(date(2027, 3, 2), 3.0), Used(date(2027, 1, 11), 1.0)],
        "marks": [
            Mark(date(2027, 1, 26), Kind.CHECK),
            Mark(date(2027, 2, 20), Kind.FAULT),
            Mark(date(2027, 2, 20), Kind.REPAIR),
            Mark(date(2027, 4, 11), Kind.INCIDENT),
        ],
        **changed,
    }
    return item_life_svg(**settings)  # type: ignore[arg-type]  # settings of several types


DRAWINGS: list[Callable[..., str]] = [rig, wind_day, search, life, item_life]
every_drawing = pytest.mark.parametrize(
    "draw", DRAWINGS, ids=["rig", "wind_day", "search", "life", "item_life"]
)


def classed(drawn: str, name: str) -> list[ET.Element]:
    return [each for each in ET.fromstring(drawn).iter() if each.get("class") == name]  # noqa: S314


def words(drawn: str) -> list[str]:
    return [each.text or "" for each in ET.fromstring(drawn).iter(f"{SVG}text")]  # noqa: S314


@every_drawing
def test_it_is_an_image_with_a_title_and_a_description(draw: Callable[..., str]) -> None:
    # WAI-ARIA Graphics and SVG 2: role img, named by title, described by desc
    root = ET.fromstring(draw())  # noqa: S314
    by_id = {each.get("id"): each for each in root.iter() if each.get("id")}

    assert root.get("role") == "img"
    assert by_id[root.get("aria-labelledby")].tag == f"{SVG}title"
    assert len(by_id[root.get("aria-describedby")].text or "") > 40


@every_drawing
def test_it_needs_no_exception_from_a_strict_content_security_policy(draw: Callable[..., str]) -> None:
    # W3C Content Security Policy 3: style attributes, style elements and scripts inline are blocked
    root = ET.fromstring(draw())  # noqa: S314
    names = {each.tag.removeprefix(SVG) for each in root.iter()}
    attributes = {name for each in root.iter() for name in each.keys()}  # noqa: SIM118

    assert not names & {"style", "script", "foreignObject", "image", "use", "a"}
    assert not {name for name in attributes if name == "style" or name.startswith("on") or "href" in name}


@every_drawing
def test_it_escapes_every_word(draw: Callable[..., str]) -> None:
    drawn = draw(title="<script>alert('1')</script> & \"quoted\" \x00\ud800")

    assert "<script" not in drawn
    ET.fromstring(drawn)  # noqa: S314
    drawn.encode()


@every_drawing
def test_it_takes_a_prefix_for_its_ids(draw: Callable[..., str]) -> None:
    ids = re.findall(r'id="([^"]+)"', draw(uid="left"))

    assert ids
    assert all(each.startswith("left-") for each in ids)
    assert len(set(ids)) == len(ids)


@every_drawing
def test_it_tells_its_lines_apart_without_colour(draw: Callable[..., str]) -> None:
    # WCAG 2.2, 1.4.1: colour is not the only means; dashes and words say it too
    assert "stroke-dasharray" in draw()


def contrast(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 1.05 / (float(np.dot(linear, [0.2126, 0.7152, 0.0722])) + 0.05)


@every_drawing
def test_its_words_stand_out_from_the_white_ground(draw: Callable[..., str]) -> None:
    # WCAG 2.2, 1.4.3: contrast of at least 4.5 to 1
    root = ET.fromstring(draw())  # noqa: S314
    colours = {each.get("fill", "") for each in root.iter(f"{SVG}text")}

    assert min(map(contrast, colours)) >= 4.5


def outline(**changed: object) -> Outline:
    spec = {
        "area_m2": 5.3,
        "luff_cm": 436.0,
        "boom_cm": 178.0,
        "boom_height_cm": 134.0,
        "clew_height_cm": 138.0,
        "battens": 5,
        **changed,
    }
    return sail_outline(**spec)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("area_m2", "luff_cm", "boom_cm"), [(2.0, 260.0, 126.0), (5.3, 436.0, 178.0), (8.5, 508.0, 228.0)]
)
def test_it_draws_the_luff_the_boom_and_the_area_to_scale(
    area_m2: float, luff_cm: float, boom_cm: float
) -> None:
    drawn = outline(
        area_m2=area_m2, luff_cm=luff_cm, boom_cm=boom_cm, boom_height_cm=0.3 * luff_cm, clew_height_cm=None
    )

    assert np.hypot(*np.diff(drawn.luff, axis=0).T).sum() == pytest.approx(luff_cm)
    assert np.hypot(*np.subtract(drawn.clew, drawn.clamp)) == pytest.approx(boom_cm)
    assert drawn.area_m2 == pytest.approx(area_m2)


def test_it_knows_the_area_of_a_triangle() -> None:
    assert polygon_area(np.array([[0.0, 0.0], [4.0, 0.0], [0.0, 3.0]])) == 6


def test_it_draws_as_many_battens_as_the_sail_has() -> None:
    assert [len(outline(battens=count).battens) for count in (0, 1, 2, 5, 7)] == [0, 1, 2, 5, 7]


def test_it_runs_every_batten_within_the_sail() -> None:
    drawn = outline()

    for (_, low), (_, high) in drawn.battens:
        assert 0 <= low <= 436
        assert 0 <= high <= 436


def test_it_draws_the_outline_and_the_boom_on_one_scale() -> None:
    drawn = rig()
    (boom,) = classed(drawn, "boom")
    places = [float(boom.get(name, "nan")) for name in ("x1", "y1", "x2", "y2")]
    (mast,) = classed(drawn, "mast")
    points = np.array(
        [list(map(float, each.split())) for each in re.findall(r"[\d.]+ [\d.]+", mast.get("d", ""))]
    )

    boom_long = np.hypot(places[2] - places[0], places[3] - places[1])
    mast_long = np.hypot(*np.diff(points, axis=0).T).sum()
    assert boom_long / mast_long == pytest.approx((178 + 8) / 400, rel=0.01)


@pytest.mark.parametrize("figure", ["luff 436", "mast 400", "36", "134", "boom 178 cm", "+2 cm"])
def test_it_prints_the_lengths_and_settings(figure: str) -> None:
    assert figure in words(rig())


def test_it_draws_any_sail_that_its_ranges_allow() -> None:
    small = replace(SAIL, area_m2=1.2, luff_cm=200, boom_cm=100, battens=1, clew_height_cm=None)

    assert "luff 200" in words(rig(small, boom_cm=101, boom_height_cm=80, extension_cm=0))


@given(
    area=st.floats(),
    luff=st.floats(50, 700),
    boom=st.floats(),
    height=st.floats(),
    clew=st.none() | st.floats(),
    battens=st.integers(-1, 14),
)
def test_it_draws_numbers_or_names_the_bad_one(
    area: float, luff: float, boom: float, height: float, clew: float | None, battens: int
) -> None:
    spec = {"area_m2": area, "luff_cm": luff, "boom_cm": boom, "boom_height_cm": height}

    with suppress(BadValue):
        drawn = outline(**spec, clew_height_cm=clew, battens=battens)

        assert np.isfinite(drawn.edge).all()


def test_it_breaks_the_mean_line_where_an_hour_is_missing() -> None:
    drawn = wind_day(hours(missing=(5,)))

    assert len(classed(drawn, "mean")) == 2
    assert len(classed(drawn, "gap")) == 1


def test_it_says_that_there_is_no_data_rather_than_drawing_a_calm() -> None:
    drawn = wind_day([], windows=[])

    assert "no data" in words(drawn)
    assert classed(drawn, "mean") == []


def test_it_draws_no_gusts_that_nobody_gave() -> None:
    calm = [replace(hour, gust_ms=None) for hour in hours()]

    assert classed(wind_day(calm), "gust") == []


def test_it_turns_each_arrow_the_way_the_wind_blows() -> None:
    # an arrow drawn pointing down (south) is a wind from the north (0 degrees); SVG turns clockwise
    arrows = classed(wind_day(), "direction")

    assert [arrow[0].get("transform") for arrow in arrows[:3]] == ["rotate(0)", "rotate(30)", "rotate(60)"]


def test_it_marks_now_in_the_stations_zone() -> None:
    assert "now 11:30" in words(wind_day())


def test_it_draws_no_now_line_on_another_day() -> None:
    other = wind_day_svg(hours(), DAY + timedelta(days=1), DAY, DAY + timedelta(hours=12), zone=UTC)

    assert classed(other, "now") == []


@pytest.mark.parametrize(
    ("unit", "said"),
    [
        ("kn", "08:00 10 gusting 16"),
        ("m/s", "08:00 5 gusting 8"),
        ("Bft", "08:00 3 gusting 5"),  # WMO-No. 306, table 1100: 3.4 to 5.4 and 8.0 to 10.7 m/s
    ],
)
def test_it_says_the_wind_in_the_stations_unit(unit: str, said: str) -> None:
    assert said in wind_day(unit=unit)


def test_in_beaufort_a_mark_stands_where_each_force_begins() -> None:
    # The strongest is a gust of 10.75 m/s in the last hour: force 5, so the axis ends where 6 begins.
    drawn = wind_day(windows=(), unit="Bft")
    y_of = {
        words: float(y) - 4
        for y, words in re.findall(r'<text x="6.50%" y="([\d.]+)"[^>]*>(\d+)</text>', drawn)
    }

    assert list(y_of)[-1] == "6"
    # WMO-No. 306, table 1100: force 4 begins at 5.5, force 5 at 8.0 and force 6 at 10.8 m/s.
    assert (y_of["4"] - y_of["5"]) / (y_of["5"] - y_of["6"]) == pytest.approx(2.5 / 2.8, abs=0.02)


def test_no_two_numbers_of_the_axis_lie_over_each_other() -> None:
    for unit in ("kn", "m/s", "km/h", "mph", "Bft"):
        ys = [float(y) for y in re.findall(r'<text x="6.50%" y="([\d.]+)"', wind_day(unit=unit))]
        assert all(upper - lower >= 15 for upper, lower in pairwise(ys)), unit


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"unit": "furlongs"}, "unit"),
        ({"windows": [("5.3", 9.0, 7.0, 12.0)]}, "window 5.3"),
        ({"windows": [("5.3", 7.0, 9.0, float("nan"))]}, "window 5.3"),
    ],
)
def test_it_names_what_it_cannot_draw(change: dict[str, object], name: str) -> None:
    with pytest.raises(BadValue) as bad:
        wind_day(hours(), **change)
    assert bad.value.name == name


def test_it_refuses_a_day_that_ends_before_it_starts() -> None:
    with pytest.raises(BadValue, match="span is"):
        wind_day_svg([], None, DAY, DAY - timedelta(hours=1), zone=UTC)


def test_it_names_each_drifter_and_its_place() -> None:
    said = " ".join(words(search()))

    assert "Windsurfer adrift" in said
    assert "Person in water" in said
    assert "95% within" in said


def test_it_draws_a_search_circle_for_each_drifter() -> None:
    assert len(classed(search(), "search-circle")) == 2


def test_it_refuses_a_search_for_nothing() -> None:
    with pytest.raises(BadValue, match="drifts is 0"):
        search_svg([])


def test_it_ticks_each_item_in_service() -> None:
    assert len(classed(life(), "in-service")) == 2


def test_it_writes_the_age_of_replacement() -> None:
    assert any("replace at" in each for each in words(life()))


def test_it_draws_no_replacement_where_there_is_none() -> None:
    assert not any("replace at" in each for each in words(life(replacement=None)))


def test_it_describes_a_life_with_its_limits_and_records() -> None:
    (description,) = re.findall(r"<desc[^>]*>(.*?)</desc>", life())

    assert "base: 3 failures in 6 records: 50% fail by" in description


def test_it_refuses_ages_that_are_none() -> None:
    with pytest.raises(BadValue, match="ages_h is"):
        life(ages_h=[float("nan")])


class TestAnItemsLife:
    def test_marks_stand_to_scale_along_the_line(self) -> None:
        # A hundred days over the line from 4 % to 96 %: each is 0.92 % wide.
        drawn = [
            (each.get("class"), float(each.get("x", "").rstrip("%")))
            for each in ET.fromstring(item_life()).iter(f"{SVG}svg")  # noqa: S314
            if (each.get("class") or "").startswith("mark ")
        ]

        assert [name for name, _ in drawn] == ["mark check", "mark fault", "mark repair", "mark incident"]
        assert [x for _, x in drawn] == pytest.approx([4 + 25 * 0.92, 4 + 50 * 0.92, 4 + 50 * 0.92, 96])

    def test_a_fault_and_its_repair_of_one_day_do_not_cover_each_other(self) -> None:
        drawn = ET.fromstring(item_life())  # noqa: S314
        marks = [each for each in drawn.iter(f"{SVG}svg") if (each.get("class") or "").startswith("mark ")]

        assert len({each.get("y") for each in marks}) == len(Kind)

    def test_hours_rise_to_scale_on_the_days_of_use(self) -> None:
        (steps,) = classed(item_life(hours_before=4.0), "hours")
        points = [
            tuple(map(float, each.split())) for each in re.findall(r"[ML]([\d.]+ [\d.]+)", steps.get("d", ""))
        ]
        floor, top = points[0][1], points[-2][1]
        shares = [(x, round((floor - y) / (floor - top), 2)) for x, y in points]

        # Four hours before, one on day 10, three on day 60: halves, five eighths, all.
        assert shares[1:-1] == [
            (4.0, 0.5),
            (13.2, 0.5),
            (13.2, pytest.approx(5 / 8, abs=0.01)),
            (59.2, pytest.approx(5 / 8, abs=0.01)),
            (59.2, 1.0),
            (96.0, 1.0),
        ]

    def test_its_description_says_what_is_drawn(self) -> None:
        said = "1 Jan 2027 to 11 Apr 2027: 4.0 h on the water; 1 check, 1 fault, 1 repair, 1 incident."

        assert said in item_life()

    def test_an_item_that_was_never_used_has_a_line_too(self) -> None:
        assert "0.0 h on the water; 0 checks" in item_life(used=[], marks=[])

    @pytest.mark.parametrize(
        "changed",
        [
            {"last": date(2027, 1, 1)},
            {"marks": [Mark(date(2026, 12, 31), Kind.CHECK)]},
            {"used": [Used(date(2027, 4, 12), 1.0)]},
            {"used": [Used(date(2027, 2, 1), float("nan"))]},
            {"hours_before": -1.0},
        ],
    )
    def test_what_cannot_be_is_refused(self, changed: dict[str, object]) -> None:
        with pytest.raises(BadValue):
            item_life(**changed)
