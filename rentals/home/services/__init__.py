"""What is written for people at home: the page itself, bookings, changes, the waiting list and letters."""

from rentals.home.services.booking import (
    MOST_FROM_HOME,
    Asked,
    UnableToPromise,
    UnableToRepeat,
    book_from_home,
    join_queue,
    keep_asked,
)
from rentals.home.services.changing import (
    TooLate,
    UnableToMoveGuest,
    keep_move,
    leave,
    move_from_home,
    take_offer,
)
from rentals.home.services.front import FrontFacts, UnableToOpen, open_front
from rentals.home.services.lessons import book_lesson, change_lesson
from rentals.home.services.limits import LOOKS, POSTS, Limit, count_post
from rentals.home.services.links import open_link, revoke_links
from rentals.home.services.riders import change_rider_from_home, keep_facts
from rentals.home.services.signing import Signed, TextChanged, UnableToSign, sign_at_desk, version_of
from rentals.home.services.sweeping import (
    keep_offer,
    offer_places,
    pass_over,
    remind,
    tell_changes,
    tell_lessons,
    tell_wind,
    thank,
    welcome_desk,
)

__all__ = [
    "LOOKS",
    "MOST_FROM_HOME",
    "POSTS",
    "Asked",
    "FrontFacts",
    "Limit",
    "Signed",
    "TextChanged",
    "TooLate",
    "UnableToMoveGuest",
    "UnableToOpen",
    "UnableToPromise",
    "UnableToRepeat",
    "UnableToSign",
    "book_from_home",
    "book_lesson",
    "change_lesson",
    "change_rider_from_home",
    "count_post",
    "join_queue",
    "keep_asked",
    "keep_facts",
    "keep_move",
    "keep_offer",
    "leave",
    "move_from_home",
    "offer_places",
    "open_front",
    "open_link",
    "pass_over",
    "remind",
    "revoke_links",
    "sign_at_desk",
    "take_offer",
    "tell_changes",
    "tell_lessons",
    "tell_wind",
    "thank",
    "version_of",
    "welcome_desk",
]
