"""Settings of one rig for one rider and wind, each with its tolerance, reason and source."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from rigging.kit import (
    USUAL,
    Base,
    Board,
    Boom,
    Diameter,
    Extension,
    Fit,
    Head,
    Mast,
    Misfit,
    Sail,
    Tolerance,
    fit,
)
from rigging.reason import COMMON_PRACTICE, FROM_MEMORY, Input, Reason
from rigging.sizing import Level, Rider, Window, wind_window
from rigging.sizing.riders import usual_stature_m
from rigging.units import INCH_CM, BadValue, in_range, knots

# -- constants: value, unit, source, status ---------------------------------------------------------
SHOULDER: Final = 0.818  # of stature; Drillis & Contini, in Winter 2009 fig. 4.1 (ANSUR II: 0.820); published
BOOM_HEIGHT_RANGE: Final = (0.78, 0.87)  # of stature, armpit to chin; common practice
ELBOW_GRIP: Final = 0.197  # of stature, elbow to centre of grip; ANSUR II 0.1987 men, 0.1951 women; published
LINE_LIMITS_CM: Final = (50.0, 82.0)  # cm; harness lines as sold, about 20-32 in; common practice
LINE_TOLERANCE_CM: Final = 5.0  # cm; one size of lines; common practice
BALANCE: Final = 0.30  # of boom length behind the mast, where lines start out; from memory
BALANCE_TOLERANCE_CM: Final = 5.0  # cm; to be found by balance on the water; from memory
MAST_RADIUS_CM: Final = {Diameter.RDM: 1.6, Diameter.SDM: 2.4}  # cm at the boom; from memory
BOOM_TOLERANCE_CM: Final = 2.0  # cm; printed lengths vary by a few; common practice
STRAP_TOLERANCE_CM: Final = 1.0  # cm; common practice
LEECH_BATTEN: Final = (1.0, 3.0)  # batten, from the head, to which the leech is loose; common practice
PULL_TOLERANCE_CM: Final = 0.5  # cm of downhaul or outhaul; common practice
HARNESS_FROM: Final = Level.IMPROVER.rank  # lowest level that hooks in; common practice
SHORTEST_STEP_CM: Final = 0.5  # cm; downhaul and outhaul are told in these; policy


class Band(StrEnum):
    """Which end of its window a sail is set for."""

    LIGHT = "light"
    MIDDLE = "middle"
    STRONG = "strong"


_PLACES: Final = {Band.LIGHT: 0.0, Band.MIDDLE: 0.5, Band.STRONG: 1.0}


@dataclass(frozen=True, slots=True)
class Setting:
    """One number to set: its value, unit, tolerance either side, and why."""

    name: str
    value: float
    unit: str
    tolerance: float
    reason: Reason


@dataclass(frozen=True, slots=True)
class Tuning:
    """Downhaul and outhaul for one end of the window: cm over light and over neutral, and what shows it.

    `leech_batten` is the batten, counted from the head, down to which the leech hangs loose.
    """

    band: Band
    downhaul_cm: float
    outhaul_cm: float
    leech_batten: int
    look_for: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """A rig's settings for one rider and wind.

    `position` is the wind's place in the sail's window (0 where it starts to work, 1 where it becomes too
    much), `tunings` the light, middle and strong setting, `band` the one that holds. Lines are None for
    riders who don't use a harness.
    """

    extension: Setting
    head_strap: Setting
    boom_length: Setting
    boom_height: Setting
    downhaul: Setting
    outhaul: Setting
    harness_line: Setting | None
    line_length: Setting | None
    position: float
    band: Band
    tunings: tuple[Tuning, ...]
    look_for: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def numbers(self) -> tuple[Setting, ...]:
        """Every number there is to set, in the order of rigging."""
        given = (self.head_strap, self.extension, self.boom_height, self.boom_length)
        pulls = (self.downhaul, self.outhaul, self.harness_line, self.line_length)
        return tuple(setting for setting in (*given, *pulls) if setting is not None)


class DoesNotFit(BadValue):
    """Parts that don't make a rig have no settings; `misfits` says what is wrong."""

    def __init__(self, sail: Sail, misfits: tuple[Misfit, ...]) -> None:
        said = " ".join(misfit.text for misfit in misfits)
        super().__init__("rig", sail.name, "", f"made of parts that fit. {said}")
        self.sail = sail
        self.misfits = misfits

    def __reduce__(self) -> tuple[type["DoesNotFit"], tuple[Sail, tuple[Misfit, ...]]]:
        return DoesNotFit, (self.sail, self.misfits)


def settings(
    sail: Sail,
    mast: Mast,
    boom: Boom,
    extension: Extension,
    base: Base,
    rider: Rider,
    beach_ms: float,
    window: Window[float] | None = None,
    tolerance: Tolerance = USUAL,
    board: Board | None = None,
) -> Settings:
    """Return the settings of a rig for a rider in `beach_ms` of beach wind.

    Args:
        sail, mast, boom, extension, base: the parts.
        rider: for boom height and lines.
        beach_ms: wind at head height, 0-60 [m/s]; `SlotWind.beach_mean_ms` of a slot.
        window: the sail's window for this rider, computed when None.
        tolerance: what the station takes for a fit.
        board: where given, boom height is also told over the ground beside it.

    Raises:
        DoesNotFit: a BadValue, when the parts don't make a rig.
        BadValue: for a wind out of range.

    Notes:
        Lengths come from `kit.fit`; boom height from stature; boom length from the clew's geometry at that
        height; downhaul, outhaul and leech between their light and strong values by the wind's place in
        the window, on a logarithmic scale.
    """
    wind = in_range("beach_ms", beach_ms, "m/s", 0, 60)
    found = fit(sail, mast, extension, boom, base, tolerance)
    if not found.ok:
        raise DoesNotFit(sail, found.misfits)
    edges = window or wind_window(float(sail.area_m2), rider.mass_kg, rider.stature_m, rider.level)
    position = window_position(wind, edges)
    tunings = tuple(tuning(sail, band) for band in Band)
    band = list(Band)[min(int(position * len(Band)), len(Band) - 1)]
    height = _boom_height(sail, base, rider, board)
    clew = clew_boom_cm(sail, mast, height.value)
    length = _boom_length(sail, boom, height.value, clew, tolerance.boom_margin_cm)
    hooks_in = rider.harness and rider.level.rank >= HARNESS_FROM
    return Settings(
        extension=_extension(sail, mast, extension, found),
        head_strap=_head_strap(sail, mast, found),
        boom_length=length,
        boom_height=height,
        downhaul=_downhaul(sail, position, wind),
        outhaul=_outhaul(sail, position, wind),
        harness_line=_harness_line(length.value) if hooks_in else None,
        line_length=_line_length(rider) if hooks_in else None,
        position=position,
        band=band,
        tunings=tunings,
        look_for=next(one for one in tunings if one.band is band).look_for,
        warnings=(*found.warnings, *_window_warnings(wind, edges), *_clew_warnings(boom, clew)),
    )


def window_position(beach_ms: float, window: Window[float]) -> float:
    """Return a wind's place in a sail's window on a log scale, 0 at its lower and 1 at its upper edge."""
    low, _, high = window
    if beach_ms <= low:
        return 0.0
    return min(math.log(beach_ms / low) / math.log(high / low), 1.0) if high > low else 1.0


def clew_boom_cm(sail: Sail, mast: Mast, height_cm: float) -> float:
    """Return the boom length [cm] from mast to clew with the boom at `height_cm` over the tack.

    Notes:
        The clew stays where the sail has it, so the length is the distance to it:
        hypot(a, height - clew height) plus the mast's radius, with a from the printed length at the middle
        of the cut-out. Above the clew a higher boom must be longer. Without the clew's height or the
        cut-out in the sail's specification the printed length holds for every height.
    """
    radius = MAST_RADIUS_CM[mast.diameter]
    if sail.clew_height_cm is None or sail.cutout_low_cm is None or sail.cutout_high_cm is None:
        return sail.boom_cm
    reach = sail.boom_cm - radius
    rise = (sail.cutout_low_cm + sail.cutout_high_cm) / 2 - sail.clew_height_cm
    across = math.sqrt(max(reach**2 - rise**2, 0.0))
    return radius + math.hypot(across, height_cm - sail.clew_height_cm)


def tuning(sail: Sail, band: Band) -> Tuning:
    """Return downhaul, outhaul and what to look for at one end of the sail's window."""
    place = _PLACES[band]
    batten = min(round(_between(LEECH_BATTEN, place)), max(sail.battens - 2, 1))
    downhaul, outhaul = _between(_downhaul_range(sail), place), _between(_outhaul_range(sail), place)
    return Tuning(band, downhaul, outhaul, batten, tuple(_look_for(sail, band, batten)))


def _downhaul_range(sail: Sail) -> tuple[float, float]:
    return sail.downhaul_light_cm, sail.downhaul_strong_cm


def _outhaul_range(sail: Sail) -> tuple[float, float]:
    return sail.outhaul_light_cm, sail.outhaul_strong_cm


def _between(values: tuple[float, float], place: float) -> float:
    light, strong = values
    return light + place * (strong - light)


def _look_for(sail: Sail, band: Band, batten: int) -> Iterator[str]:
    yield (
        "Batten ends lie behind the leading edge: by half the mast's width just above the boom, "
        "by more toward the head."
    )
    yield f"The leech hangs loose from the head down to batten {batten} and stands tight below."
    yield "A finger's gap stays between the tack and the pulleys of the extension."
    yield {
        Band.LIGHT: "Outhaul neutral: pulled until the clew just holds, and the sail keeps its belly.",
        Band.MIDDLE: "Outhaul a centimetre or two past neutral: the sail stays clear of the boom at rest.",
        Band.STRONG: "Outhaul well past neutral: the foot is flat, and the sail keeps off the boom in gusts.",
    }[band]
    if sail.cams:
        yield f"All {sail.cams} cams sit on the mast and flip when the boom is pumped."


def _extension(sail: Sail, mast: Mast, extension: Extension, found: Fit) -> Setting:
    value = found.extension_cm or 0.0
    needed = sail.luff_cm - mast.length_cm
    text = (
        f"Luff {sail.luff_cm:g} cm less mast {mast.length_cm:g} cm is {needed:g} cm; the collar's next step "
        f"of {extension.step_cm:g} cm is {value:g} cm."
    )
    if needed < extension.min_cm:
        text = (
            f"The mast is long enough for the luff of {sail.luff_cm:g} cm: the collar stays at {value:g} cm."
        )
    inputs = (Input("luff", sail.luff_cm, "cm"), Input("mast", mast.length_cm, "cm"))
    rule = "luff - mast, on the next collar step at or above"
    return Setting("extension", value, "cm", extension.step_cm, Reason(text, rule, COMMON_PRACTICE, inputs))


def _head_strap(sail: Sail, mast: Mast, found: Fit) -> Setting:
    value = found.head_strap_cm
    if value:
        text = f"The {mast.length_cm:g} cm mast is longer than the luff: let the head out {value:g} cm."
    elif sail.head is Head.ADJUSTABLE:
        text = "The mast isn't longer than the luff: the head strap stays shortest."
    else:
        text = "The head is fixed."
    inputs = (Input("luff", sail.luff_cm, "cm"), Input("mast", mast.length_cm, "cm"))
    reason = Reason(text, "mast and shortest extension - luff", COMMON_PRACTICE, inputs)
    return Setting("head strap", value, "cm", STRAP_TOLERANCE_CM, reason)


def _boom_height(sail: Sail, base: Base, rider: Rider, board: Board | None) -> Setting:
    stature_cm = 100 * (rider.stature_m or usual_stature_m(rider.mass_kg))
    shoulder = SHOULDER * stature_cm
    low = sail.cutout_low_cm if sail.cutout_low_cm is not None else 0.0
    high = sail.cutout_high_cm if sail.cutout_high_cm is not None else sail.luff_cm
    wanted = shoulder - base.height_cm
    value = float(round(min(max(wanted, low), high)))
    measured = "" if rider.stature_m else " (usual for the mass, not measured)"
    text = (
        f"Shoulder of {stature_cm:.0f} cm{measured} is at {shoulder:.0f} cm over the deck; the base takes "
        f"{base.height_cm:g} cm of it: the boom goes {value:g} cm over the tack."
    )
    if not low <= wanted <= high:
        text += f" Shoulder height is outside the cut-out of {low:g}-{high:g} cm, so its end holds."
    if board is not None:
        ground = value + base.height_cm + board.deck_cm
        text += f" Beside the board on the ground that is at {ground:.0f} cm."
    armpit, chin = BOOM_HEIGHT_RANGE
    inputs = (Input("stature", stature_cm, "cm"), Input("base", base.height_cm, "cm"))
    source = "Drillis & Contini, in Winter 2009; ANSUR II"
    reason = Reason(text, "0.818 x stature - height of the base, within the cut-out", source, inputs)
    tolerance = float(round((chin - armpit) / 2 * stature_cm))
    return Setting("boom height", value, "cm over the tack", tolerance, reason)


def _boom_length(sail: Sail, boom: Boom, height_cm: float, clew: float, margin_cm: float) -> Setting:
    value = float(min(max(round(clew + margin_cm), boom.min_cm), boom.max_cm))
    text = (
        f"Printed {sail.boom_cm:g} cm; with the boom at {height_cm:g} cm the clew is {clew:.0f} cm away, and "
        f"about {margin_cm:g} cm are left to pull: {value:g} cm."
    )
    inputs = (Input("printed", sail.boom_cm, "cm"), Input("boom height", height_cm, "cm"))
    rule = "distance to the clew at the boom's height + margin, within the boom's range"
    return Setting("boom length", value, "cm", BOOM_TOLERANCE_CM, Reason(text, rule, COMMON_PRACTICE, inputs))


def _downhaul(sail: Sail, position: float, wind: float) -> Setting:
    value = _stepped(_between(_downhaul_range(sail), position))
    batten = tuning(sail, Band.MIDDLE).leech_batten
    text = (
        f"{knots(wind):.0f} kn is {100 * position:.0f} % up this sail's window: {value:g} cm past the light "
        f"setting. In the middle of the window the leech is loose to batten {batten}."
    )
    inputs = (Input("beach wind", knots(wind), "kn"), Input("position", position))
    reason = Reason(text, "between the sail's light and strong setting", COMMON_PRACTICE, inputs)
    return Setting("downhaul", value, "cm over light", PULL_TOLERANCE_CM, reason)


def _outhaul(sail: Sail, position: float, wind: float) -> Setting:
    value = _stepped(_between(_outhaul_range(sail), position))
    text = (
        f"{knots(wind):.0f} kn is {100 * position:.0f} % up this sail's window: {value:g} cm past neutral. "
        f"Set the downhaul first."
    )
    inputs = (Input("beach wind", knots(wind), "kn"), Input("position", position))
    reason = Reason(text, "between the sail's light and strong setting", COMMON_PRACTICE, inputs)
    return Setting("outhaul", value, "cm over neutral", PULL_TOLERANCE_CM, reason)


def _stepped(value: float) -> float:
    return round(value / SHORTEST_STEP_CM) * SHORTEST_STEP_CM


def _harness_line(boom_cm: float) -> Setting:
    value = float(round(BALANCE * boom_cm))
    text = (
        f"Lines centred {value:g} cm behind the mast on a boom of {boom_cm:g} cm, then moved until the sail "
        f"balances without hands."
    )
    reason = Reason(text, "0.30 x boom length", FROM_MEMORY, (Input("boom length", boom_cm, "cm"),))
    return Setting("harness line", value, "cm behind the mast", BALANCE_TOLERANCE_CM, reason)


def _line_length(rider: Rider) -> Setting:
    stature_cm = 100 * (rider.stature_m or usual_stature_m(rider.mass_kg))
    low, high = LINE_LIMITS_CM
    value = float(round(min(max(2 * ELBOW_GRIP * stature_cm, low), high)))
    text = (
        f"Twice from elbow to grip for {stature_cm:.0f} cm: {value:g} cm of line ({value / INCH_CM:.0f} in). "
        f"With an elbow on the boom its end reaches wrist or palm."
    )
    source = "ANSUR II elbow-to-grip over stature; rule: common practice, no source"
    reason = Reason(text, "2 x 0.197 x stature", source, (Input("stature", stature_cm, "cm"),))
    return Setting("line length", value, "cm", LINE_TOLERANCE_CM, reason)


def _window_warnings(wind: float, window: Window[float]) -> Iterator[str]:
    if wind < window.beach_under_ms:
        yield f"{knots(wind):.0f} kn is under this sail's window from {knots(window.beach_under_ms):.0f} kn."
    if wind > window.beach_over_ms:
        yield (
            f"{knots(wind):.0f} kn is over this sail's window up to {knots(window.beach_over_ms):.0f} kn: "
            f"take a smaller sail."
        )


def _clew_warnings(boom: Boom, clew_cm: float) -> Iterator[str]:
    if clew_cm > boom.max_cm:
        yield f"The clew is {clew_cm:.0f} cm away, the boom ends at {boom.max_cm:g} cm: lower it."


STEPS: Final = (
    "Lay board, sail and parts out of the wind's way, the sail rolled out with its mast sleeve upwind.",
    "Check mast, boom, extension, base and lines for cracks, sand and wear before joining anything.",
    "Put the mast's halves together until no gap shows, without sand in the joint.",
    "Slide the mast up the sleeve to the head, past the cams with the battens' ends clear.",
    "Set the head strap, then the extension's collar; push the extension in until the mast sits on it.",
    "Thread the downhaul without crossed turns and pull it by hand until it holds.",
    "Set the boom's length, fix its clamp at the height given; the handle must resist from half-way on.",
    "Pull the downhaul to its setting, then look at battens and leech.",
    "Pull the outhaul to its setting; correct the downhaul first, the outhaul after.",
    "Tie every tail end off, fit uphaul and lines, close the base on the board and tug at it.",
)
"""Order of rigging for the crew; common practice, no source."""

FIRST_TIME_STEPS: Final = (
    "First time: tension each batten until the creases across its panel vanish, and no further.",
    "First time: note the boom length, downhaul and outhaul that look right beside those given here.",
)
"""What a sail's first rigging adds; common practice, no source."""


def steps(*, first_time: bool = False) -> tuple[str, ...]:
    """Return the order of rigging for the crew, with what a sail's first rigging adds."""
    return (*STEPS[:-1], *FIRST_TIME_STEPS, STEPS[-1]) if first_time else STEPS
