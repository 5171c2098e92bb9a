"""Who may do what: roles per station, acts, and the one table that joins them."""

from collections.abc import Mapping
from contextvars import ContextVar
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from rentals.lib.problems import NotAllowed, NotVisible


class Role(StrEnum):
    """What a person is at a station."""

    DESK = "desk"
    INSTRUCTOR = "instructor"
    MANAGER = "manager"


class Act(StrEnum):
    """What can be done at a station. The value is how the journal and a refusal name it."""

    LOOK = "look at the station"
    BOOK = "book a party"
    CANCEL = "cancel an outing"
    SET_PRICES = "change the prices"
    CHARGE = "charge a party"
    TAKE_PAYMENT = "take a payment"
    GIVE_CREDIT = "give a credit"
    REFUND = "refund a party"
    WAIVE_FEE = "waive a fee"
    CLOSE_DAY = "close the day's takings"
    EDIT_RIDER = "change a rider"
    ASSIGN_KIT = "assign kit"
    ISSUE = "issue kit"
    CHECK_LAUNCH = "log a launch check"
    LAUNCH = "let a rider go afloat"
    CALL_ASHORE = "log a rider ashore"
    ACKNOWLEDGE = "take an alarm on"
    SEE = "log a rider seen"
    COUNT_HEADS = "log a head count"
    EXTEND = "extend an outing"
    SWAP_KIT = "swap a rider's kit"
    RECALL = "call everybody ashore"
    LIFT_RECALL = "lift a recall"
    TAKE_BACK = "take kit back"
    REPORT_FAULT = "report a fault"
    MEND = "mend an item"
    RELEASE = "release an item from the bench"
    WITHDRAW = "withdraw an item"
    PLAN_LESSON = "plan a lesson"
    ENROL = "enrol a student"
    MOVE_LESSON = "move or cancel a lesson"
    TEACH = "note what a student can do"
    RAISE_LEVEL = "change a rider's level"
    SET_ROSTER = "change the roster"
    MAKE_FEED = "make a calendar address"
    INSPECT = "inspect an item"
    EDIT_SHED = "change the shed"
    RECALL_KIT = "call kit back"
    END_RECALL = "end a recall of kit"
    RELEASE_HELD = "release an item that is held back"
    ENTER_WEATHER = "enter wind"
    SET_STATION = "change the station"
    PLAN_DAY = "plan the day"
    ACCEPT_PLAN = "accept a day plan"
    RIG_UP = "tick a rig off"
    STUDY_SHED = "study what the shed lacks"
    OPEN_FRONT = "open the page for bookings from home"
    ERASE = "export or erase a rider"
    SEE_LIFE = "look at use and life of the kit"
    REVIEW = "look at the review"
    SET_COSTS = "set what kit costs"
    REPORT_INCIDENT = "report an incident"
    FOLLOW_INCIDENT = "add to an incident"
    CLOSE_INCIDENT = "close an incident"
    SIGN_CLOSING = "sign the closing round"
    NOTE_CALL = "note whom you told"
    EDIT_LISTS = "change a check list"


class System(StrEnum):
    """What the service does by itself, without a person."""

    WATCH = "watch who is overdue"
    POST_WEAR = "post wear"
    NOTE_AGES = "note ages at faults"
    HOLD_BACK = "hold back what is past its inspection"
    FETCH = "fetch a forecast"
    SEND = "send mail"
    NOTE_RETURNS = "note mail that came back"
    SOLVE = "solve a day plan"
    WORK = "do long work for somebody"
    SEED = "load the demo"
    FOUND = "begin a station"
    HOME = "take bookings from home"
    TELL = "tell riders by mail"
    RETAIN = "let go of what is kept too long"


_ALL = frozenset(Role)
_BEACH = frozenset({Role.INSTRUCTOR, Role.MANAGER})
_OFFICE = frozenset({Role.DESK, Role.MANAGER})

MAY: Final[Mapping[Act, frozenset[Role]]] = {
    Act.LOOK: _ALL,
    Act.BOOK: _OFFICE,
    Act.CANCEL: _OFFICE,
    Act.SET_PRICES: frozenset({Role.MANAGER}),
    Act.CHARGE: _OFFICE,
    Act.TAKE_PAYMENT: _OFFICE,
    Act.GIVE_CREDIT: _OFFICE,
    Act.REFUND: frozenset({Role.MANAGER}),
    Act.WAIVE_FEE: frozenset({Role.MANAGER}),
    Act.CLOSE_DAY: frozenset({Role.MANAGER}),
    Act.EDIT_RIDER: _ALL,
    Act.ASSIGN_KIT: _ALL,
    Act.ISSUE: _ALL,
    Act.CHECK_LAUNCH: _BEACH,
    Act.LAUNCH: _BEACH,
    Act.CALL_ASHORE: _ALL,
    Act.ACKNOWLEDGE: _ALL,
    Act.SEE: _ALL,
    Act.COUNT_HEADS: _ALL,
    Act.EXTEND: _BEACH,
    Act.SWAP_KIT: _ALL,
    Act.RECALL: _ALL,
    Act.LIFT_RECALL: _BEACH,
    Act.TAKE_BACK: _ALL,
    Act.REPORT_FAULT: _ALL,
    Act.MEND: _BEACH,
    Act.RELEASE: _BEACH,
    Act.WITHDRAW: frozenset({Role.MANAGER}),
    Act.PLAN_LESSON: _ALL,
    Act.ENROL: _ALL,
    Act.MOVE_LESSON: _ALL,
    Act.TEACH: _BEACH,
    Act.RAISE_LEVEL: _BEACH,
    Act.SET_ROSTER: frozenset({Role.MANAGER}),
    Act.MAKE_FEED: _ALL,
    Act.INSPECT: _BEACH,
    Act.EDIT_SHED: frozenset({Role.MANAGER}),
    Act.RECALL_KIT: _BEACH,
    Act.END_RECALL: frozenset({Role.MANAGER}),
    Act.RELEASE_HELD: _BEACH,
    Act.ENTER_WEATHER: _BEACH,
    Act.SET_STATION: frozenset({Role.MANAGER}),
    Act.PLAN_DAY: _BEACH,
    Act.ACCEPT_PLAN: _BEACH,
    Act.RIG_UP: _ALL,
    Act.STUDY_SHED: frozenset({Role.MANAGER}),
    Act.OPEN_FRONT: frozenset({Role.MANAGER}),
    Act.ERASE: frozenset({Role.MANAGER}),
    Act.SEE_LIFE: _BEACH,
    Act.REVIEW: frozenset({Role.MANAGER}),
    Act.SET_COSTS: frozenset({Role.MANAGER}),
    Act.REPORT_INCIDENT: _ALL,
    Act.FOLLOW_INCIDENT: _ALL,
    Act.CLOSE_INCIDENT: frozenset({Role.MANAGER}),
    Act.SIGN_CLOSING: _BEACH,
    Act.NOTE_CALL: _ALL,
    Act.EDIT_LISTS: frozenset({Role.MANAGER}),
}

_asked: ContextVar[bool] = ContextVar("permission asked", default=False)


@dataclass(frozen=True, slots=True)
class Actor:
    """Who acts: a user with roles by station, or the service itself with the acts it may do."""

    user_id: int | None
    name: str
    roles: Mapping[int, frozenset[Role]] = field(default_factory=dict)
    acts: frozenset[System] = frozenset()

    @property
    def station_ids(self) -> frozenset[int]:
        """Stations at which this person has a role today."""
        return frozenset(self.roles)

    @property
    def person_id(self) -> int:
        """The user who signs what only a person can sign.

        Raises:
            NotAllowed: the service itself, or nobody.
        """
        if self.user_id is None:
            raise NotAllowed("Only a person can sign this.")
        return self.user_id

    def may(self, act: Act, *, station_id: int) -> bool:
        """Say whether the act is allowed, without asking for it."""
        return bool(self.roles.get(station_id, frozenset()) & MAY[act])

    def require(self, act: Act, *, station_id: int) -> None:
        """Ask for the act.

        Raises:
            NotVisible: no role at that station, which must look as if the thing did not exist.
            NotAllowed: a role there, but none that covers the act.
        """
        _asked.set(True)
        if station_id not in self.roles:
            raise NotVisible(
                "There is nothing here for you. Check the address, or ask to be added to the station."
            )
        if not self.may(act, station_id=station_id):
            needed = " or ".join(sorted(MAY[act]))
            raise NotAllowed(f"To {act} here you must be {needed}. Ask a colleague who is.")

    def require_system(self, act: System) -> None:
        """Ask for an act of the service itself.

        Raises:
            NotAllowed: the actor is a person, or a job without that act.
        """
        _asked.set(True)
        if act not in self.acts:
            raise NotAllowed(f"Only the service itself may {act}.")


def service(*acts: System) -> Actor:
    """Return the actor for a background job that may do these acts and nothing else."""
    return Actor(user_id=None, name="Marram", acts=frozenset(acts))


NOBODY: Final = Actor(user_id=None, name="nobody")


def begin_asking() -> None:
    """Forget what was asked: a write begins."""
    _asked.set(False)


def was_asked() -> bool:
    """Say whether the write under way has asked for a permission."""
    return _asked.get()
