"""The JSON form: it carries problems and plans whole, and refuses what is wrong by the path of the field."""

import json
import re
from typing import Any

import pytest

from rigging.allot.jsonform import from_plan, from_problem, to_plan, to_problem
from rigging.allot.problem import Crew, Hold, Problem, Standing, Window
from rigging.allot.solve import solve
from rigging.units import BadValue
from tests.rigging.allot import instances, sheds

PROBLEM = sheds.shed(
    sheds.rider("a", 10, 12, sails={5.3: 0.25}, boards={110: 0.5}, group="g"),
    sheds.rider("b", 13, 15, sails={}),
    sails=(sheds.sail(5.3, 2),),
    crew=Crew(rig_min=20, windows=(Window(480, 540, 2),)),
    frozen=(Hold(tag="D110-2", start_min=600, end_min=700, why="inspection"),),
    standing=(Standing("S5.3-1", "M430-1", "X46-1", "B140-1"),),
)


def plain(problem: Problem = PROBLEM) -> dict[str, Any]:
    """The problem through text and back."""
    form: dict[str, Any] = json.loads(json.dumps(from_problem(problem)))
    return form


class TestWhole:
    @pytest.mark.parametrize(
        "problem", [PROBLEM, instances.day(instances.SMALL, 0)], ids=["by hand", "a day"]
    )
    def test_it_reads_back_the_problem_it_wrote(self, problem: Problem) -> None:
        assert to_problem(plain(problem)) == problem

    @pytest.mark.parametrize(
        "problem", [PROBLEM, instances.day(instances.SMALL, 0)], ids=["by hand", "a day"]
    )
    def test_it_reads_back_the_plan_it_wrote(self, problem: Problem) -> None:
        plan = solve(problem)

        assert to_plan(json.loads(json.dumps(from_plan(plan, problem))), problem) == plan

    def test_it_names_units_that_are_only_counted(self) -> None:
        form = plain()
        form["boards"][0]["units"] = 2

        assert [unit.tag for unit in to_problem(form | {"frozen": []}).boards[0].units] == [
            "marram 110 #1",
            "marram 110 #2",
        ]

    def test_it_reads_times_of_any_offset(self) -> None:
        form = plain()
        form["demands"][1]["start"] = "2026-07-14T15:00:00+02:00"

        assert to_problem(form).demands[1].start_min == 13 * 60

    def test_it_takes_a_crew_without_windows_for_rigs_that_await_the_day(self) -> None:
        form = plain()
        del form["crew"]

        assert to_problem(form).crew.windows is None


MISSING = object()

REFUSED: list[tuple[str, Any]] = [
    ("station", 7),
    ("station", MISSING),
    ("day", "yesterday"),
    ("day", "2026-07-14T00:00:00"),
    ("turn_round_min", -5),
    ("turn_round_min", 1.5),
    ("sails", {}),
    ("sails[0].luff_cm", -453),
    ("sails[0].luff_cm", "453"),
    ("sails[0].luff_cm", MISSING),
    ("sails[0].luff_cm", True),
    ("sails[0].diameters[0]", "XDM"),
    ("sails[0].head", "loose"),
    ("sails[0].battens", 4.5),
    ("sails[0].colour", "red"),
    ("sails[0].units[1].tag", "S5.3-1"),
    ("sails[0].units[0].wear_h", -1),
    ("masts[0].length_cm", float("nan")),
    ("booms[0].shim", "no"),
    ("crew.rig_min", 0),
    ("crew.windows[0].hands", -1),
    ("crew.windows[0].end", "2026-07-14T07:00:00+00:00"),
    ("demands[0].id", ""),
    ("demands[1].id", "a"),
    ("demands[1].mass_kg", MISSING),
    ("demands[1].mass_kg", -75),
    ("demands[1].mass_kg", 500),
    ("demands[1].mass_kg", 10**400),
    ("demands[1].mass_kg", None),
    ("demands[1].start", "2026-07-14T13:00:30+00:00"),
    ("demands[1].end", "2026-07-14T12:00:00+00:00"),
    ("demands[1].priority", "friend"),
    ("demands[0].sails", ["thrift 5.3"]),
    ("demands[0].sails.thrift 5.3", 1.5),
    ("demands[0].sails.thrift 9.9", 0.5),
    ("demands[0].boards.sandbar", 0.5),
    ("demands[0].promised.sail", 5),
    ("demands[0].promised.sail", "thrift 9.9"),
    ("frozen[0].tag", "D110-99"),
    ("frozen[0].tag", "M430-1"),
    ("frozen[0].demand", "nobody"),
    ("frozen[0].demand", "a"),
    ("standing[0].mast", "X46-1"),
    ("standing[0].boom", MISSING),
    ("standing[0].sail", "S9"),
    ("weather", "fine"),
]  # fmt: skip


def spoiled(path: str, value: Any) -> dict[str, Any]:
    """The form with one field changed, added or taken away."""
    form = plain()
    form["demands"][0]["promised"] = {"sail": "thrift 5.3", "board": "marram 110"}
    at: Any = form
    *steps, last = (
        int(number) if number else word
        for number, word in re.findall(r"\[(\d+)\]|(thrift [\d.]+|[a-z_]+)", path)
    )
    for step in steps:
        at = at[step]
    if value is MISSING:
        del at[last]
    else:
        at[last] = value
    return form


class TestRefused:
    @pytest.mark.parametrize(
        ("path", "value"),
        REFUSED,
        ids=[f"{path}={'missing' if value is MISSING else value!r:.30}" for path, value in REFUSED],
    )
    def test_it_names_the_path_of_the_field(self, path: str, value: Any) -> None:
        with pytest.raises(BadValue) as refused:
            to_problem(spoiled(path, value))

        assert refused.value.name == path

    def test_it_names_the_hold_that_overlaps_another(self) -> None:
        form = plain()
        form["frozen"] *= 2

        with pytest.raises(BadValue) as refused:
            to_problem(form)

        assert refused.value.name == "frozen[1]"

    @pytest.mark.parametrize("whole", [None, [], "day", 7])
    def test_it_refuses_what_is_no_object(self, whole: object) -> None:
        with pytest.raises(BadValue, match="the instance"):
            to_problem(whole)
