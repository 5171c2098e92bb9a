"""The shed as a sheet: what it exports, and what each row of one that comes in would become."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db.models import Field, FloatField, PositiveSmallIntegerField

from rentals.fleet.formats import shed as sheets
from rentals.fleet.models import MOST_PRICE, NEEDS, RANGES, Item, ItemModel, Kind
from rentals.fleet.states import ItemState
from rentals.lib.tables import csv_text
from rentals.stations.models import Station

ITEM_COLUMNS: Final = (
    "tag",
    "kind",
    "model",
    "state",
    "colour",
    "bought_on",
    "made_on",
    "serial",
    "batch",
    "price",
    "currency",
)
COUNTED: Final = ("water_h", "rig_ups")
"""Columns that an export tells and an import leaves alone: hours come from outings, not from sheets."""

SPEC_COLUMNS: Final = tuple(
    column.name for column in ItemModel._meta.concrete_fields if column.name not in ("id", "kind", "name")
)
COLUMNS: Final = (*ITEM_COLUMNS, *COUNTED, *SPEC_COLUMNS)
CHANGEABLE: Final = ("colour", "bought_on", "made_on", "serial", "batch", "price", "currency")


class Fate(StrEnum):
    """What a row becomes."""

    NEW = "new"
    CHANGED = "changed"
    SAME = "same"
    WRONG = "wrong"


@dataclass(slots=True)
class RowPlan:
    """One row of a sheet and what it would become; `says` in words, problems by column."""

    number: int
    tag: str
    fate: Fate = Fate.SAME
    says: list[str] = field(default_factory=list)
    problems: dict[str, str] = field(default_factory=dict)
    item: Item | None = None
    model: ItemModel | None = None
    values: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ShedPlan:
    """What a sheet would make of a shed, row by row."""

    rows: tuple[RowPlan, ...]
    ignored: tuple[str, ...]
    left: int

    def counted(self, fate: Fate) -> int:
        """How many rows become that."""
        return sum(row.fate is fate for row in self.rows)

    @property
    def new(self) -> int:
        """New items."""
        return self.counted(Fate.NEW)

    @property
    def changed(self) -> int:
        """Items that change."""
        return self.counted(Fate.CHANGED)

    @property
    def wrong(self) -> int:
        """Rows with a problem."""
        return self.counted(Fate.WRONG)


def shed_csv(station: Station) -> str:
    """Return a station's whole shed as CSV, withdrawn items too: one query."""
    items = Item.objects.filter(station=station).select_related("model").order_by("model__kind", "tag")
    return csv_text(COLUMNS, (tuple(_cells(item)) for item in items))


def _cells(item: Item) -> Iterator[object]:
    named: dict[str, object] = {
        "kind": item.model.kind.replace("_", " "),
        "model": item.model.name,
        "water_h": f"{item.water_s / 3600:.1f}",
    }
    for column in (*ITEM_COLUMNS, *COUNTED):
        yield named[column] if column in named else getattr(item, column)
    for column in SPEC_COLUMNS:
        value = getattr(item.model, column)
        yield {True: "yes", False: "no"}[value] if isinstance(value, bool) else _short(value)


def _short(value: object) -> object:
    return f"{value:g}" if isinstance(value, float) else value


def shed_plan(
    station: Station, text: str, tell: Callable[[int, int], None] = lambda _done, _of: None
) -> ShedPlan:
    """Return what each row of a sheet would become: two queries.

    A known tag changes what the sheet fills in and leaves what it leaves empty; state and counters are left
    alone. An unknown tag is a new item, of a known model or of a new one. Nothing is ever removed.

    Args:
        station: whose shed.
        text: the sheet.
        tell: called with how many rows of how many were looked at.

    Raises:
        UnreadableSheet: the text is no sheet of a shed.
    """
    sheet = sheets.read(text)
    items = {
        item.tag.casefold(): item for item in Item.objects.filter(station=station).select_related("model")
    }
    models = {(model.kind, model.name.casefold()): model for model in ItemModel.objects.all()}
    seen: set[str] = set()
    rows = []
    for line in sheet.lines:
        row = RowPlan(line.number, line.cells.get("tag", ""))
        if row.tag.casefold() in seen:
            row.problems["tag"] = "This tag stands in the sheet twice."
        seen.add(row.tag.casefold())
        _plan(row, line, items.get(row.tag.casefold()), models)
        if row.problems:
            row.fate = Fate.WRONG
        rows.append(row)
        tell(len(rows), len(sheet.lines))
    left = len(items.keys() - seen)
    return ShedPlan(tuple(rows), tuple(each for each in sheet.columns if each not in COLUMNS), left)


def _plan(
    row: RowPlan,
    line: sheets.Line,
    item: Item | None,
    models: dict[tuple[str, str], ItemModel],
) -> None:
    if line.surplus:
        row.problems["tag"] = "The row has more cells than the heading. Put a number with a comma in quotes."
    if not row.tag or len(row.tag) > 12 or not row.tag.isprintable() or "/" in row.tag:
        row.problems["tag"] = "Enter a tag of at most 12 characters, without a slash."
    for column in CHANGEABLE:
        _take(row, column, line.cells.get(column, ""), _READ[column])
    if item is None:
        _new_item(row, line, models)
    else:
        _known_item(row, line, item)


def _take(row: RowPlan, column: str, cell: str, read: Callable[[str], Any]) -> None:
    if not cell:
        return
    try:
        row.values[column] = read(cell)
    except ValueError as problem:
        row.problems[column] = str(problem)


def _known_item(row: RowPlan, line: sheets.Line, item: Item) -> None:
    row.item, row.model = item, item.model
    for column, known in (("kind", item.model.kind), ("model", item.model.name)):
        cell = line.cells.get(column, "")
        if cell and _word(cell) != _word(known):
            row.problems[column] = f"{item.tag} is {_words(known)} here. Give another item another tag."
    changed = {name: value for name, value in row.values.items() if getattr(item, name) != value}
    price, currency = (changed.get(name, getattr(item, name)) for name in ("price", "currency"))
    if (price is None) is not (currency is None or currency == ""):
        row.problems["currency"] = "Enter price and currency together."
    if item.state == ItemState.WITHDRAWN and changed:
        row.says.append("withdrawn: its record stays as it is")
        changed = {}
    row.values = changed
    row.fate = Fate.CHANGED if changed else Fate.SAME
    row.says += [
        f"{_said(name)}: {_shown(getattr(item, name))} becomes {value}" for name, value in changed.items()
    ]


def _new_item(row: RowPlan, line: sheets.Line, models: dict[tuple[str, str], ItemModel]) -> None:
    row.fate = Fate.NEW
    if ("price" in row.values) is not ("currency" in row.values):
        row.problems["currency"] = "Enter price and currency together."
    state = _word(line.cells.get("state", "") or ItemState.READY)
    if state not in (ItemState.READY, ItemState.WITHDRAWN):
        row.says.append("comes as ready")
        state = ItemState.READY
    row.values["state"] = state
    kind, name = _word(line.cells.get("kind", "")), line.cells.get("model", "")
    if kind not in Kind.values:
        row.problems["kind"] = f"Enter a kind: {', '.join(Kind.values).replace('_', ' ')}."
    if not name or len(name) > 80:
        row.problems["model"] = "Enter the model's name, at most 80 characters."
    if "kind" in row.problems or "model" in row.problems:
        return
    known = models.get((kind, name.casefold()))
    spec = _spec(row, line, Kind(kind))
    if known is not None:
        row.model = known
        for column, value in spec.items():
            if getattr(known, column) != value:
                row.problems[column] = (
                    f"{known} has {_shown(getattr(known, column))} here. Correct it or name it otherwise."
                )
    elif not row.problems:
        row.model = _new_model(row, Kind(kind), name, spec)
        models[kind, name.casefold()] = row.model
    row.says.append(f"new {kind.replace('_', ' ')}{'' if known else ', new model'}: {name}")


def _spec(row: RowPlan, line: sheets.Line, kind: Kind) -> dict[str, Any]:
    """The numbers of a model that the row fills in, those that its kind does not have left out."""
    spec: dict[str, Any] = {}
    for column in SPEC_COLUMNS:
        cell = line.cells.get(column, "")
        if not cell or (column not in NEEDS[kind] and column not in OPTIONAL):
            continue
        try:
            spec[column] = _spec_value(column, cell)
        except ValueError as problem:
            row.problems[column] = str(problem)
    return spec


OPTIONAL: Final = ("clew_height_cm", "cutout_low_cm", "cutout_high_cm", "head_strap_cm")


def _spec_value(column: str, cell: str) -> Any:
    of = ItemModel._meta.get_field(column)
    assert isinstance(of, Field)  # noqa: S101 - a column of the table, no way back from another one
    if of.choices:
        word = _word(cell)
        allowed = [value for value, _ in of.choices]
        if word not in allowed:
            raise ValueError(f"Enter one of {', '.join(allowed)}.")
        return word
    if isinstance(of, FloatField | PositiveSmallIntegerField):
        value = sheets.number(cell)
        low, high = RANGES.get(column, (0, 1000))
        if not low <= value <= high:
            raise ValueError(f"Enter a number between {low:g} and {high:g}.")
        if isinstance(of, FloatField):
            return value
        if not value.is_integer():
            raise ValueError("Enter a whole number.")
        return int(value)
    if column == "size":
        if len(cell) > 10:
            raise ValueError("Enter at most 10 characters.")
        return cell
    return sheets.truth(cell)


def _new_model(row: RowPlan, kind: Kind, name: str, spec: Mapping[str, Any]) -> ItemModel:
    model = ItemModel(kind=kind, name=name, **spec)
    missing = [column for column in NEEDS[kind] if column not in spec]
    for column in missing:
        row.problems[column] = f"A new {kind.replace('_', ' ')} needs its {_said(column)}."
    if not row.problems:
        try:
            model.validate_constraints()
        except ValidationError:
            row.problems["model"] = (
                "Its numbers do not go together: least above most, cut-out outside the luff, or no diameter."
            )
    return model


def _words(value: str) -> str:
    return value.replace("_", " ")


def _word(cell: str) -> str:
    return cell.strip().casefold().replace(" ", "_")


def _said(column: str) -> str:
    return column.replace("_", " ")


def _shown(value: object) -> str:
    return "nothing" if value in (None, "") else f"{value:g}" if isinstance(value, float) else str(value)


def _text(most: int) -> Callable[[str], str]:
    def read(cell: str) -> str:
        if len(cell) > most or not cell.isprintable():
            raise ValueError(f"Enter at most {most} characters.")
        return cell

    return read


def _price(cell: str) -> Decimal:
    try:
        price = Decimal(cell.replace(",", "."))
    except InvalidOperation:
        raise ValueError("Enter a price such as 480 or 480.50.") from None
    if not (price.is_finite() and 0 <= price <= MOST_PRICE):
        raise ValueError(f"Enter a price between 0 and {MOST_PRICE}.")
    return price.quantize(Decimal("0.01"))


def _currency(cell: str) -> str:
    code = cell.upper()
    if len(code) != 3 or not (code.isascii() and code.isalpha()):
        raise ValueError("Enter the three letters of a currency, such as EUR.")
    return code


_READ: Final[Mapping[str, Callable[[str], Any]]] = {
    "colour": _text(40),
    "bought_on": sheets.day,
    "made_on": sheets.day,
    "serial": _text(40),
    "batch": _text(40),
    "price": _price,
    "currency": _currency,
}
