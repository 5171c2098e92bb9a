"""The kit: what a sail, mast, boom, extension, base, board and fin are, and which go together."""

from dataclasses import dataclass
from enum import StrEnum


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
    `cutout_low_cm` and `cutout_high_cm` the boom cut-out over the tack.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Mast:
    """A mast: length in cm, stiffness index and bend curve as marked or measured."""

    name: str
    length_cm: float
    diameter: Diameter
    imcs: float
    curve: BendCurve = BendCurve.CONSTANT


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Extension:
    """A mast extension: collar range and step in cm, and what it couples to."""

    name: str
    diameter: Diameter
    min_cm: float
    max_cm: float
    step_cm: float = 2.0
    coupling: Coupling = Coupling.PIN


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """A mast base: its joint, its coupling, and how high it carries the mast foot over the deck, in cm."""

    name: str
    coupling: Coupling = Coupling.PIN
    joint: Joint = Joint.TENDON
    height_cm: float = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A board: volume in litres, width in cm, the sails it carries, its fin box."""

    name: str
    volume_l: float
    width_cm: float
    sail_min_m2: float
    sail_max_m2: float
    fin_box: FinBox
    daggerboard: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Fin:
    """A fin: length in cm and box."""

    name: str
    length_cm: float
    box: FinBox
