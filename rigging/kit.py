"""The kit: what a sail, mast, boom, extension, base, board and fin are, and which go together."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from rigging.units import BadValue, keep_in_range, keep_whole

# -- constants: value, unit, source, status ---------------------------------------------------------
BOOM_MARGIN_CM: Final = 2.0  # cm over the printed length, 1-2 as printed lengths vary; common practice
IMCS_TOLERANCE: Final = 2.0  # index either side of the sail's; common practice, station setting
USUAL_EXTENSION_CM: Final = {
    "RDM": 36.0,
    "SDM": 46.0,
}  # cm; beyond it a longer mast is better; common practice
ROUNDING_CM: Final = 1e-6  # cm; keeps float noise from skipping a collar step


class Diameter(StrEnum):
    """Mast diameter class: reduced (about 25 mm clamp) or standard (about 29 mm)."""

    RDM = "RDM"
    SDM = "SDM"


class BendCurve(StrEnum):
    """Where a mast bends, from stiff top to soft top. Neighbours in this order are one apart."""

    HARD_TOP = "hard_top"
    CONSTANT = "constant"
    FLEX_TOP = "flex_top"


class Head(StrEnum):
    """Head of a sail: fixed to one mast length, or adjustable by a strap for longer masts."""

    FIXED = "fixed"
    ADJUSTABLE = "adjustable"


class Coupling(StrEnum):
    """How an extension meets the mast base."""

    PIN = "pin"
    CUP = "cup"


class Joint(StrEnum):
    """What flexes in a mast base."""

    TENDON = "tendon"
    UNIVERSAL = "universal"


class FinBox(StrEnum):
    """Fin boxes of the trade, by their common names."""

    TUTTLE = "tuttle"
    DEEP_TUTTLE = "deep_tuttle"
    POWER_BOX = "power_box"
    US_BOX = "us_box"
    SLOT_BOX = "slot_box"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sail:
    """A sail as printed on it. Lengths in cm, area in m2, batten count and cams as numbers.

    `boom_cm` is the printed boom length, `clew_height_cm` the clew over the tack along the luff line,
    `cutout_low_cm` and `cutout_high_cm` the boom cut-out over the tack. Downhaul is pulled from
    `downhaul_light_cm` to `downhaul_strong_cm` beyond the lightest setting across the wind window, outhaul
    from `outhaul_light_cm` to `outhaul_strong_cm` beyond neutral; the defaults are common practice.
    """

    name: str
    area_m2: float
    luff_cm: float
    boom_cm: float
    diameters: frozenset[Diameter]
    imcs: float
    curve: BendCurve = BendCurve.CONSTANT
    head: Head = Head.FIXED
    head_strap_cm: float = 0.0
    battens: int = 5
    cams: int = 0
    clew_height_cm: float | None = None
    cutout_low_cm: float | None = None
    cutout_high_cm: float | None = None
    downhaul_light_cm: float = 0.0
    downhaul_strong_cm: float = 3.0
    outhaul_light_cm: float = 0.0
    outhaul_strong_cm: float = 3.0

    def __post_init__(self) -> None:
        keep_in_range(self, "area_m2", "m²", 0.5, 15)
        keep_in_range(self, "luff_cm", "cm", 100, 700)
        keep_in_range(self, "boom_cm", "cm", 80, 320)
        keep_in_range(self, "imcs", "", 5, 45)
        keep_in_range(self, "head_strap_cm", "cm", 0, 100)
        keep_whole(self, "battens", "battens", 0, 12)
        keep_whole(self, "cams", "cams", 0, 8)
        for name in ("clew_height_cm", "cutout_low_cm", "cutout_high_cm"):
            if getattr(self, name) is not None:
                keep_in_range(self, name, "cm", 0, self.luff_cm)
        if self.cutout_high_cm is not None:
            keep_in_range(self, "cutout_high_cm", "cm", self.cutout_low_cm or 0, self.luff_cm)
        keep_in_range(self, "downhaul_light_cm", "cm", -5, 10)
        keep_in_range(self, "downhaul_strong_cm", "cm", self.downhaul_light_cm, 15)
        keep_in_range(self, "outhaul_light_cm", "cm", -5, 10)
        keep_in_range(self, "outhaul_strong_cm", "cm", self.outhaul_light_cm, 15)
        if not self.diameters:
            raise BadValue("diameters", "nothing", "", "RDM, SDM or both")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mast:
    """A mast: length in cm, stiffness index and bend curve as marked or measured."""

    name: str
    length_cm: float
    diameter: Diameter
    imcs: float
    curve: BendCurve = BendCurve.CONSTANT

    def __post_init__(self) -> None:
        keep_in_range(self, "length_cm", "cm", 150, 600)
        keep_in_range(self, "imcs", "", 5, 45)


@dataclass(frozen=True, slots=True, kw_only=True)
class Boom:
    """A boom: its shortest and longest length in cm, and the masts its clamp holds.

    `clamps` holds the diameters it takes bare; `shim` says that a shim for reduced diameter is with it.
    """

    name: str
    min_cm: float
    max_cm: float
    clamps: frozenset[Diameter]
    shim: bool = False

    def __post_init__(self) -> None:
        keep_in_range(self, "min_cm", "cm", 80, 320)
        keep_in_range(self, "max_cm", "cm", self.min_cm, 320)


@dataclass(frozen=True, slots=True, kw_only=True)
class Extension:
    """A mast extension: collar range and step in cm, and what it couples to."""

    name: str
    diameter: Diameter
    min_cm: float
    max_cm: float
    step_cm: float = 2.0
    coupling: Coupling = Coupling.PIN

    def __post_init__(self) -> None:
        keep_in_range(self, "min_cm", "cm", 0, 80)
        keep_in_range(self, "max_cm", "cm", self.min_cm, 80)
        keep_in_range(self, "step_cm", "cm", 0.5, 10)


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """A mast base: its joint, its coupling, and how high it carries the mast foot over the deck, in cm."""

    name: str
    coupling: Coupling = Coupling.PIN
    joint: Joint = Joint.TENDON
    height_cm: float = 10.0

    def __post_init__(self) -> None:
        keep_in_range(self, "height_cm", "cm", 0, 40)


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A board: volume in litres, width in cm, the sails it carries, its fin box.

    `deck_cm` is the deck's height at the mast track when the board lies on the ground.
    """

    name: str
    volume_l: float
    width_cm: float
    sail_min_m2: float
    sail_max_m2: float
    fin_box: FinBox
    daggerboard: bool = False
    deck_cm: float = 12.0

    def __post_init__(self) -> None:
        keep_in_range(self, "volume_l", "l", 10, 600)
        keep_in_range(self, "width_cm", "cm", 30, 150)
        keep_in_range(self, "sail_min_m2", "m²", 0, 15)
        keep_in_range(self, "sail_max_m2", "m²", self.sail_min_m2, 15)
        keep_in_range(self, "deck_cm", "cm", 3, 30)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fin:
    """A fin: length in cm and box."""

    name: str
    length_cm: float
    box: FinBox

    def __post_init__(self) -> None:
        keep_in_range(self, "length_cm", "cm", 3, 120)


# -- which go together ------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What a station takes for a fit: stiffness either side, curve classes apart, boom over printed [cm].

    A curve within tolerance but not equal is warned of.
    """

    imcs: float = IMCS_TOLERANCE
    curve_classes: int = 1
    boom_margin_cm: float = BOOM_MARGIN_CM

    def __post_init__(self) -> None:
        keep_in_range(self, "imcs", "", 0, 10)
        keep_whole(self, "curve_classes", "classes", 0, 2)
        keep_in_range(self, "boom_margin_cm", "cm", 0, 10)


USUAL: Final = Tolerance()


@dataclass(frozen=True, slots=True)
class Misfit:
    """One way in which two parts don't go together: the part to change, and by how much it misses.

    Where classes differ (diameter, curve, coupling, box) the amount counts classes.
    """

    part: str
    amount: float
    unit: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Whether parts make a rig, and the settings that follow from their lengths alone.

    `extension_cm` is the collar's setting, `head_strap_cm` how far an adjustable head is let out,
    `boom_cm` the boom's setting, `shim` whether the clamp needs its shim. A setting is None when its
    part misses.
    """

    ok: bool
    misfits: tuple[Misfit, ...]
    warnings: tuple[str, ...]
    extension_cm: float | None
    head_strap_cm: float
    boom_cm: float | None
    shim: bool


def fit(
    sail: Sail,
    mast: Mast,
    extension: Extension,
    boom: Boom,
    base: Base,
    tolerance: Tolerance = USUAL,
) -> Fit:
    """Return whether the parts make a rig, every misfit with its amount, and the lengths to set.

    Notes:
        Extension = luff - mast, on the next collar step at or above it; when the mast is the longer, an
        adjustable head lets out the rest. Stiffness and bend curve within the tolerance. Boom a little
        longer than printed, within its range. Common practice, no source.
    """
    extension_cm, strap_cm, lengths = _luff_settings(sail, mast, extension)
    boom_cm, spans = _boom_setting(sail, boom, tolerance)
    misfits = (*lengths, *_diameters(sail, mast, extension), *_stiffness(sail, mast, tolerance))
    misfits += (*spans, *_clamp(mast, boom), *_coupling(extension, base))
    return Fit(
        ok=not misfits,
        misfits=misfits,
        warnings=tuple(_warnings(sail, mast, extension_cm, boom_cm)),
        extension_cm=extension_cm,
        head_strap_cm=strap_cm,
        boom_cm=boom_cm,
        shim=mast.diameter is Diameter.RDM and Diameter.RDM not in boom.clamps and boom.shim,
    )


def collar_cm(extension: Extension, needed_cm: float) -> float:
    """Return the collar step at or above `needed_cm`, which may lie past the extension's end."""
    steps = math.ceil((needed_cm - extension.min_cm) / extension.step_cm - ROUNDING_CM)
    return extension.min_cm + steps * extension.step_cm


def _luff_settings(sail: Sail, mast: Mast, extension: Extension) -> tuple[float | None, float, list[Misfit]]:
    needed = sail.luff_cm - mast.length_cm
    spare = extension.min_cm - needed
    if spare > 0:
        strap = sail.head_strap_cm if sail.head is Head.ADJUSTABLE else 0.0
        if spare <= strap:
            return extension.min_cm, spare, []
        head = f"its head strap gives {strap:g} cm" if strap else "its head is fixed"
        text = (
            f"Mast {mast.length_cm:g} cm with the extension at {extension.min_cm:g} cm is {spare:g} cm "
            f"longer than the luff of {sail.luff_cm:g} cm, and {head}."
        )
        return None, 0.0, [Misfit("mast", spare - strap, "cm", text)]
    setting = collar_cm(extension, needed)
    if setting <= extension.max_cm + ROUNDING_CM:
        return setting, 0.0, []
    text = (
        f"Luff {sail.luff_cm:g} cm on a {mast.length_cm:g} cm mast needs {needed:g} cm of extension, "
        f"set at {setting:g} cm; this one ends at {extension.max_cm:g} cm."
    )
    return None, 0.0, [Misfit("extension", setting - extension.max_cm, "cm", text)]


def _diameters(sail: Sail, mast: Mast, extension: Extension) -> Iterator[Misfit]:
    if mast.diameter not in sail.diameters:
        takes = " or ".join(sorted(sail.diameters))
        yield Misfit("mast", 1, "class", f"The sail takes {takes}, the mast is {mast.diameter}.")
    if extension.diameter is not mast.diameter:
        text = f"The extension is {extension.diameter}, the mast {mast.diameter}."
        yield Misfit("extension", 1, "class", text)


def _stiffness(sail: Sail, mast: Mast, tolerance: Tolerance) -> Iterator[Misfit]:
    apart = abs(mast.imcs - sail.imcs)
    if apart > tolerance.imcs:
        kind = "stiffer" if mast.imcs > sail.imcs else "softer"
        text = (
            f"The mast's index {mast.imcs:g} is {apart:g} {kind} than the sail's {sail.imcs:g}; "
            f"within {tolerance.imcs:g} it fits."
        )
        yield Misfit("mast", apart - tolerance.imcs, "IMCS", text)
    classes = _curve_distance(sail, mast)
    if classes > tolerance.curve_classes:
        text = f"The sail is cut for a {_words(sail.curve)} mast, this one is {_words(mast.curve)}."
        yield Misfit("mast", classes - tolerance.curve_classes, "class", text)


def _curve_distance(sail: Sail, mast: Mast) -> int:
    order = list(BendCurve)
    return abs(order.index(sail.curve) - order.index(mast.curve))


def _words(name: str) -> str:
    return name.replace("_", " ")


def _boom_setting(sail: Sail, boom: Boom, tolerance: Tolerance) -> tuple[float | None, list[Misfit]]:
    if boom.min_cm <= sail.boom_cm <= boom.max_cm:
        return min(sail.boom_cm + tolerance.boom_margin_cm, boom.max_cm), []
    amount = max(boom.min_cm - sail.boom_cm, sail.boom_cm - boom.max_cm)
    which = "shorter" if sail.boom_cm < boom.min_cm else "longer"
    text = (
        f"The sail's boom length {sail.boom_cm:g} cm is {amount:g} cm {which} than this boom's "
        f"{boom.min_cm:g}-{boom.max_cm:g} cm."
    )
    return None, [Misfit("boom", amount, "cm", text)]


def _clamp(mast: Mast, boom: Boom) -> Iterator[Misfit]:
    held = mast.diameter in boom.clamps or (mast.diameter is Diameter.RDM and boom.shim)
    if not held:
        lack = " without a shim" if mast.diameter is Diameter.RDM else ""
        yield Misfit("boom", 1, "class", f"The boom's clamp doesn't hold an {mast.diameter} mast{lack}.")


def _coupling(extension: Extension, base: Base) -> Iterator[Misfit]:
    if extension.coupling is not base.coupling:
        text = f"The extension has a {extension.coupling} coupling, the base a {base.coupling} one."
        yield Misfit("base", 1, "class", text)


def _warnings(sail: Sail, mast: Mast, extension_cm: float | None, boom_cm: float | None) -> Iterator[str]:
    if sail.curve is not mast.curve:
        yield f"The mast is {_words(mast.curve)}, the sail is cut for {_words(sail.curve)}: it sets worse."
    usual = USUAL_EXTENSION_CM[mast.diameter]
    if extension_cm is not None and extension_cm > usual:
        yield f"{extension_cm:g} cm of extension is more than the usual {usual:g} cm; take a longer mast."
    if boom_cm is not None and boom_cm < sail.boom_cm + 1:
        yield "The boom is at its full length, without the usual centimetre or two to spare."
    if sail.cams and len(sail.diameters) > 1:
        yield f"Set the {sail.cams} cams for {mast.diameter} before rigging."


def board_fit(board: Board, fin: Fin, sail: Sail) -> tuple[Misfit, ...]:
    """Return every way in which a fin or a sail doesn't suit a board; none means that they do."""
    misfits = []
    if fin.box is not board.fin_box:
        text = f"The fin is for a {_words(fin.box)}, the board has a {_words(board.fin_box)}."
        misfits.append(Misfit("fin", 1, "class", text))
    amount = max(board.sail_min_m2 - sail.area_m2, sail.area_m2 - board.sail_max_m2)
    if amount > 0:
        text = (
            f"The board carries {board.sail_min_m2:g}-{board.sail_max_m2:g} m², the sail has "
            f"{sail.area_m2:g} m²."
        )
        misfits.append(Misfit("sail", amount, "m²", text))
    return tuple(misfits)
