"""Item models as the kit of the trade's formulas."""

from collections.abc import Callable, Mapping

from rentals.fleet.models import Item, ItemModel, Kind
from rigging import kit

Part = kit.Sail | kit.Mast | kit.Boom | kit.Extension | kit.Base | kit.Board | kit.Fin


def item_to_core(item: Item) -> Part:
    """Return an item as its kind's dataclass, named by tag and model.

    Raises:
        TypeError: for kinds that the formulas do not know, such as worn items.
    """
    return model_to_core(item.model, f"{item.tag} {item.model.name}")


def model_to_core(model: ItemModel, name: str) -> Part:
    """Return a model as its kind's dataclass."""
    build = _BUILDERS.get(Kind(model.kind))
    if build is None:
        raise TypeError(f"{model.kind} has no dataclass in the core")
    return build(model, name)


def _diameters(model: ItemModel) -> frozenset[kit.Diameter]:
    taken = {kit.Diameter.RDM: model.takes_rdm, kit.Diameter.SDM: model.takes_sdm}
    return frozenset(diameter for diameter, takes in taken.items() if takes)


def _sail(model: ItemModel, name: str) -> kit.Sail:
    return kit.Sail(
        name=name,
        area_m2=_number(model.area_m2),
        luff_cm=_number(model.luff_cm),
        boom_cm=_number(model.boom_cm),
        diameters=_diameters(model),
        imcs=_number(model.imcs),
        curve=kit.BendCurve(model.curve or ""),
        head=kit.Head(model.head or ""),
        head_strap_cm=model.head_strap_cm or 0.0,
        battens=model.battens or 0,
        cams=model.cams or 0,
        clew_height_cm=model.clew_height_cm,
        cutout_low_cm=model.cutout_low_cm,
        cutout_high_cm=model.cutout_high_cm,
    )


def _mast(model: ItemModel, name: str) -> kit.Mast:
    (diameter,) = _diameters(model)
    return kit.Mast(
        name=name,
        length_cm=_number(model.length_cm),
        diameter=diameter,
        imcs=_number(model.imcs),
        curve=kit.BendCurve(model.curve or ""),
    )


def _boom(model: ItemModel, name: str) -> kit.Boom:
    return kit.Boom(
        name=name,
        min_cm=_number(model.min_cm),
        max_cm=_number(model.max_cm),
        clamps=_diameters(model),
        shim=bool(model.shim),
    )


def _extension(model: ItemModel, name: str) -> kit.Extension:
    (diameter,) = _diameters(model)
    return kit.Extension(
        name=name,
        diameter=diameter,
        min_cm=_number(model.min_cm),
        max_cm=_number(model.max_cm),
        step_cm=_number(model.step_cm),
        coupling=kit.Coupling(model.coupling or ""),
    )


def _base(model: ItemModel, name: str) -> kit.Base:
    return kit.Base(
        name=name,
        coupling=kit.Coupling(model.coupling or ""),
        joint=kit.Joint(model.joint or ""),
        height_cm=_number(model.height_cm),
    )


def _board(model: ItemModel, name: str) -> kit.Board:
    return kit.Board(
        name=name,
        volume_l=_number(model.volume_l),
        width_cm=_number(model.width_cm),
        sail_min_m2=_number(model.sail_min_m2),
        sail_max_m2=_number(model.sail_max_m2),
        fin_box=kit.FinBox(model.fin_box or ""),
        daggerboard=bool(model.daggerboard),
    )


def _fin(model: ItemModel, name: str) -> kit.Fin:
    return kit.Fin(name=name, length_cm=_number(model.length_cm), box=kit.FinBox(model.fin_box or ""))


def _number(value: float | None) -> float:
    # The database refuses a model without the numbers of its kind.
    assert value is not None  # noqa: S101
    return value


_BUILDERS: Mapping[Kind, Callable[[ItemModel, str], Part]] = {
    Kind.SAIL: _sail,
    Kind.MAST: _mast,
    Kind.BOOM: _boom,
    Kind.EXTENSION: _extension,
    Kind.BASE: _base,
    Kind.BOARD: _board,
    Kind.FIN: _fin,
}
