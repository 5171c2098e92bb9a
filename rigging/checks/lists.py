"""Default launch and return checks: what to look at, by kind of item. Common practice, no source.

Wordings are defaults that a station copies, edits and versions; keys are stable. The universal joint line
follows a published warning ("worn ropes, loose fittings or cracked universal joint").
"""

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Final

from rigging.units import BadValue

Lines = tuple[tuple[str, str], ...]

LAUNCH: Final[Mapping[str, Lines]] = MappingProxyType(
    {
        "sail": (
            ("sail.panels", "Panels, seams and window without tears or soft, cloudy film"),
            ("sail.battens", "Battens whole and tight, no creases across the panels"),
            ("sail.downhaul", "Downhaul set as on the rig card, line not frayed, end stowed"),
        ),
        "mast": (("mast.joint", "Mast halves fully home, no gap or crack at the joint"),),
        "boom": (
            ("boom.clamp", "Clamp tight on the mast, right shim in, it doesn't slip when leaned on"),
            ("boom.tail", "Tail pins locked on both sides, outhaul line not frayed"),
            ("boom.uphaul", "Uphaul tied on and whole"),
        ),
        "extension": (("extension.collar", "Collar pin through and locked, set as on the rig card"),),
        "base": (
            (
                "base.joint",
                "Tendon or universal joint without crack, bulge or thin waist; back-up strap whole",
            ),
            ("base.lock", "Base clicked into the extension and tight in the track: lift the rig to try"),
        ),
        "board": (
            ("board.hull", "Hull, nose and rails without cracks that take water; vent plug closed"),
            ("board.straps", "Foot straps and their screws tight"),
        ),
        "fin": (("fin.screw", "Fin straight and screwed tight"),),
        "harness": (
            ("harness.hook", "Harness fits, hook and buckle whole; rider knows how to get out of it"),
            ("harness.lines", "Harness lines even and not frayed"),
        ),
        "buoyancy aid": (
            ("aid.worn", "Buoyancy aid worn, closed, right size: lift it by the shoulders to try"),
        ),
        "wetsuit": (("suit.worn", "Suit worn and closed, right for the water"),),
        "helmet": (("helmet.worn", "Helmet worn and strapped"),),
        "rider": (
            ("rider.well", "Rider is rested, well, sober and wants to go"),
            ("rider.area", "Rider knows the sailing area, the wind's direction and the way back"),
            ("rider.due", "Rider knows the due time and the recall signal"),
            ("rider.help", "Rider knows how to call for help and to stay with the board"),
            ("rider.sky", "Looked at the sky and the water just now: nothing against it"),
        ),
    }
)
"""Launch check by kind of item, plus `rider` for every outing."""

RETURN: Final[Mapping[str, Lines]] = MappingProxyType(
    {
        "sail": (("sail.back", "Panels, window, battens and mast sleeve whole"),),
        "mast": (("mast.back", "No crack, dent or sand-worn joint"),),
        "boom": (("boom.back", "Clamp, grip, tail pins and lines whole"),),
        "extension": (("extension.back", "Pin, pulleys and collar whole, sand rinsed out"),),
        "base": (("base.back", "Joint without crack or bulge, strap whole"),),
        "board": (("board.back", "No new dents or cracks, straps and track whole"),),
        "fin": (("fin.back", "Fin there, edge and head whole"),),
        "harness": (("harness.back", "Hook, buckle and lines whole"),),
        "buoyancy aid": (("aid.back", "Buoyancy aid back, seams and buckles whole"),),
        "wetsuit": (("suit.back", "Suit back, no tears; rinsed"),),
        "helmet": (("helmet.back", "Helmet back, no knock or crack"),),
        "rider": (
            ("rider.ashore", "Rider seen ashore by a named person"),
            ("rider.felt", "Asked how the sail felt: under, right or over"),
            ("rider.trouble", "Asked about falls on the kit, near misses and anything odd"),
        ),
    }
)
"""Return check by kind of item, plus `rider` for every outing."""

CLOSING: Final[Lines] = (
    ("closing.people", "Everybody of today's log seen ashore by a named person"),
    ("closing.water", "Looked over the whole sailing area and along the shore: nobody, no board, no rig"),
    ("closing.boat", "Safety boat ashore and made fast, its crew too"),
    ("closing.kit", "Kit counted against the list of what is out"),
)
"""The closing round of a station's day. Common practice, no source."""


def checklist(kinds: Iterable[str], lists: Mapping[str, Lines] = LAUNCH) -> Lines:
    """Return the lines (key, text) for an outing's kinds of item, in the list's order, the rider's last.

    Raises:
        BadValue: for a kind without lines.
    """
    wanted = {*kinds, "rider"}
    for kind in sorted(wanted):
        if kind not in lists:
            raise BadValue("kind", kind, "", f"one of {', '.join(lists)}")
    return tuple(line for kind, lines in lists.items() if kind in wanted for line in lines)
