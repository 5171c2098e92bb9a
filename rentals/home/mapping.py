"""Words for people at home: levels as riders say them, and what they agree to."""

from collections.abc import Mapping
from typing import Final

from django.utils.functional import Promise as Words
from django.utils.translation import gettext_lazy as _

LEVELS: Final[Mapping[str, Words]] = {
    "taster": _("I have never windsurfed"),
    "beginner": _("Beginner: to and fro in light wind"),
    "improver": _("Improver: I tack and steer"),
    "intermediate": _("Intermediate: I plane in the harness"),
    "advanced": _("Advanced: waterstart, fast gybes"),
    "expert": _("Expert: any wind and waves"),
}
"""What each level can do. Status: common practice, no source."""

WAIVER: Final[tuple[Words, ...]] = (
    _(
        "Windsurfing can hurt you: by wind, waves, cold water, the board, the rig, and others on the water."
        " I take part of my own free will."
    ),
    _(
        "I am in good health for it, I can swim 100 metres in open water, and I tell the station about"
        " anything that may matter on the water."
    ),
    _(
        "I follow what the staff say, wear the buoyancy aid I am given, stay inside the marked area, and do"
        " not go out when an instructor says no."
    ),
    _(
        "I bring the kit back in time, tell about every damage, and pay for damage by carelessness up to the"
        " excess on the price list."
    ),
    _("Nothing here takes away rights that the law gives me."),
)
"""Change a word and raise `queries.TEXTS`: riders agreed to the words they saw."""

PRIVACY: Final[tuple[Words, ...]] = (
    _(
        "We keep your name, contact, birth date, weight, height and level to give you kit that fits and to"
        " keep you safe, and nobody but the station sees them."
    ),
    _(
        "We keep them while you come to us and let go of them afterwards as the law allows. You may ask the"
        " desk at any time for all that is kept of you, or to have it erased."
    ),
)
