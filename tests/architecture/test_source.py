"""What import contracts cannot see: clocks, transactions, writes, upward keys, and how long things may be."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.apps import apps
from django.db.models import ForeignKey
from django.template.loader import get_template

ROOT = Path(__file__).parents[2]
APPS = [
    "audit",
    "mail",
    "stations",
    "people",
    "errands",
    "weather",
    "fleet",
    "checklists",
    "bookings",
    "lessons",
    "takings",
    "rigs",
    "dayplan",
    "afloat",
    "bench",
    "incidents",
    "review",
    "home",
    "privacy",
    "desk",
]
"""From the bottom up, as the import contract has them."""


@dataclass(frozen=True)
class Ban:
    """A call that may stand only in files that match."""

    call: str
    where: tuple[str, ...]
    allowed: tuple[str, ...]


BANS = [
    Ban("datetime.now", ("rigging", "rentals", "api"), ()),
    Ban("date.today", ("rigging", "rentals", "api"), ()),
    Ban(
        "timezone.now",
        ("rigging", "rentals", "api"),
        ("rentals/lib/clock.py", "rentals/desk/management/**/*.py"),
    ),
    Ban(
        "clock.now",
        ("rigging", "rentals", "api"),
        (
            "rentals/*/views.py",
            "rentals/*/views/*.py",
            "rentals/*/tasks.py",
            "rentals/*/doors.py",
            "api/*.py",
        ),
    ),
    Ban("clock.wall", ("rigging", "rentals", "api"), ("rentals/*/tasks.py",)),
    Ban("transaction.atomic", ("rentals", "api"), ("rentals/lib/writes.py",)),
    Ban("apps.get_model", ("rentals", "api"), ()),
    Ban("open", ("rigging", "rentals", "api"), ("rigging/allot/__main__.py",)),
    Ban("print", ("rigging", "rentals", "api"), ("rigging/allot/__main__.py",)),
]

WRITES = ("save", "create", "update_or_create", "get_or_create", "bulk_create", "bulk_update", "delete")


def sources(*folders: str) -> Iterator[tuple[Path, ast.Module]]:
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*.py")):
            if "migrations" not in path.parts:
                yield path.relative_to(ROOT), ast.parse(path.read_text())


def calls(tree: ast.Module) -> Iterator[tuple[str, int]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield ast.unparse(node.func), node.lineno


@pytest.mark.parametrize("ban", BANS, ids=lambda ban: ban.call)
def test_it_is_called_only_where_allowed(ban: Ban) -> None:
    found = [
        f"{path}:{line}"
        for path, tree in sources(*ban.where)
        if not any(path.match(pattern) for pattern in ban.allowed)
        for name, line in calls(tree)
        if name == ban.call
    ]

    assert found == []


def test_rows_are_written_in_services_only() -> None:
    found = [
        f"{path}:{line} {name}"
        for path, tree in sources("rentals", "api")
        if "services" not in (path.stem, path.parent.name)
        for name, line in calls(tree)
        if name.rpartition(".")[2] in WRITES and "objects" in name
    ]

    assert found == []


def test_every_service_that_writes_is_a_write_or_runs_inside_one() -> None:
    bare = [
        f"{path}:{node.name}"
        for path, tree in sources("rentals")
        if path.name == "services.py"
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
        if any(
            name.rpartition(".")[2] in (*WRITES, "update") and "objects" in name for name, _ in calls_in(node)
        )
        if not {ast.unparse(each) for each in node.decorator_list} & {"write", "inside_write"}
    ]

    assert bare == []


def calls_in(node: ast.FunctionDef) -> Iterator[tuple[str, int]]:
    return calls(ast.Module(body=[node], type_ignores=[]))


def test_foreign_keys_point_down_and_open_no_way_up() -> None:
    wrong = []
    for model in apps.get_models():
        if not model.__module__.startswith("rentals."):
            continue
        for field in model._meta.get_fields():
            if not isinstance(field, ForeignKey):
                continue
            own, other = model._meta.app_label, field.remote_field.model._meta.app_label
            if other not in APPS or own == other or (own, other) == ("audit", "people"):
                continue
            if APPS.index(other) > APPS.index(own):
                wrong.append(f"{model.__name__}.{field.name} points up to {other}")
            if not field.remote_field.hidden:
                wrong.append(f"{model.__name__}.{field.name} can be read from {other}")

    assert wrong == []


def test_every_template_compiles() -> None:
    folders = [ROOT / "rentals/templates", *(ROOT / "rentals").glob("*/templates")]
    names = [str(path.relative_to(folder)) for folder in folders for path in folder.rglob("*.html")]

    for name in names:
        get_template(name)

    assert len(names) > 15


def test_every_module_says_what_it_is_for() -> None:
    silent = [str(path) for path, tree in sources("rigging", "rentals", "api") if silent_room(path, tree)]

    assert silent == []


def silent_room(path: Path, tree: ast.Module) -> bool:
    return bool(tree.body) and ast.get_docstring(tree) is None


@pytest.mark.parametrize(
    ("pattern", "most"),
    [("rigging/**/*.py", 500), ("rentals/**/*.py", 500), ("api/**/*.py", 500)],
)
def test_no_file_is_longer_than_one_can_read(pattern: str, most: int) -> None:
    long = {
        str(path.relative_to(ROOT)): lines
        for path in ROOT.glob(pattern)
        if "migrations" not in path.parts and (lines := len(path.read_text().splitlines())) > most
    }

    assert long == {}


@pytest.mark.parametrize(
    ("name", "most"), [("views.py", 30), ("services.py", 60), ("queries.py", 60), ("tasks.py", 30)]
)
def test_no_function_is_longer_than_its_kind_allows(name: str, most: int) -> None:
    long = [
        f"{path}:{node.name} has {code_lines(node)} lines"
        for path, tree in sources("rentals")
        if name in (path.name, f"{path.parent.name}.py")
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and code_lines(node) > most
    ]

    assert long == []


def code_lines(node: ast.FunctionDef) -> int:
    """Lines of a function's body without its docstring."""
    body = node.body[1:] if ast.get_docstring(node) is not None else node.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def test_no_page_carries_script_or_style_of_its_own() -> None:
    found = [
        str(path.relative_to(ROOT))
        for path in (ROOT / "rentals").rglob("*.html")
        if any(mark in path.read_text() for mark in ("<style", "style=", "onclick", "javascript:"))
    ]

    assert found == []
