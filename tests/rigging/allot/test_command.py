"""The command line: solve to a file, check the file, refuse by the path of the field."""

import json
from pathlib import Path
from typing import Any

import pytest

from rigging.allot.__main__ import main
from rigging.allot.jsonform import from_problem
from tests.rigging.allot import instances

EXAMPLE = Path(__file__).parents[3] / "fixtures" / "reference" / "tarrow_day.json"


@pytest.fixture
def instance(tmp_path: Path) -> Path:
    path = tmp_path / "instance.json"
    path.write_text(json.dumps(from_problem(instances.day(instances.SMALL, 1))), encoding="utf-8")
    return path


def changed(path: Path, **fields: Any) -> Path:
    path.write_text(json.dumps(json.loads(path.read_text(encoding="utf-8")) | fields), encoding="utf-8")
    return path


def test_it_solves_the_readers_example(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An invented day at Tarrow Lagoon, kept for the documents; its numbers are the solver's own, proven."""
    plan = tmp_path / "plan.json"

    assert main([str(EXAMPLE), "--out", str(plan)]) == 0
    assert main(["check", str(EXAMPLE), str(plan)]) == 0
    printed = capsys.readouterr().out
    assert "12 of 16 riders" in printed
    assert "proven: no plan is better" in printed


def test_it_prints_objective_bound_gap_riders_and_time(
    instance: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([str(instance), "--seconds", "20"]) == 0

    printed = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in printed] == [
        "served", "mismatch", "rigs", "objective", "bound", "gap", "time",
    ]  # fmt: skip


def test_it_writes_a_plan_that_the_check_accepts(instance: Path, tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"

    assert main([str(instance), "--out", str(plan)]) == 0
    assert main(["check", str(instance), str(plan)]) == 0


def test_its_check_names_each_violation_and_fails(
    instance: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = tmp_path / "plan.json"
    main([str(instance), "--out", str(plan)])
    given = json.loads(plan.read_text(encoding="utf-8"))["assignments"]
    given[0]["board"] = given[1]["board"] = given[2]["board"]
    capsys.readouterr()

    assert main(["check", str(instance), str(changed(plan, assignments=given))]) == 1
    assert f"{given[2]['board']} is with {given[0]['demand']} and with" in capsys.readouterr().out


def test_it_names_the_field_it_refuses(instance: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(changed(instance, turn_round_min=-1))]) == 2
    assert "turn_round_min is -1" in capsys.readouterr().err


@pytest.mark.parametrize("seconds", ["-1", "nan", "inf"])
def test_it_refuses_a_time_limit_that_is_none(
    seconds: str, instance: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([str(instance), "--seconds", seconds]) == 2
    assert capsys.readouterr().err.startswith("refused: seconds is")


@pytest.mark.parametrize("text", ["", "{", "\xff"], ids=["empty", "truncated", "no JSON"])
def test_it_says_that_a_file_can_not_be_read(
    text: str, instance: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    instance.write_text(text, encoding="latin-1")

    assert main([str(instance)]) == 2
    assert capsys.readouterr().err.startswith("can't read it")


def test_it_writes_nothing_when_it_refuses(instance: Path, tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"

    main([str(changed(instance, demands=[{}])), "--out", str(plan)])

    assert not plan.exists()
