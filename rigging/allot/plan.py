"""The plan of the day: who gets what, which rigs are built when, and how good that provably is."""

from dataclasses import dataclass, field

from rigging.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Assignment:
    """A rider's sail and board by tag, the rig that carries the sail, and the mismatch in hundredths.

    `change` is what a promise not kept costs, in hundredths; `issued` says that the rider has them already.
    """

    demand: str
    sail: str
    board: str
    rig: str
    mismatch: int
    change: int = 0
    issued: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Rig:
    """A rig by the tags of its parts, who builds it when, and how long it stands.

    `stood` says that it stands before the plan begins; `ready_min` and `until_min` are None where the
    plan sets no limit on when it may be taken. `built_min` is the span of the building and `hand`
    the builder, from 1; both None where it stood or the crew's time is not limited. `needed_min` is when
    its first rider takes it, None when nobody does.
    """

    id: str
    sail: str
    mast: str
    extension: str
    boom: str
    stood: bool
    ready_min: int | None
    until_min: int | None
    needed_min: int | None
    built_min: tuple[int, int] | None = None
    hand: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Unserved:
    """A rider who goes short: why, and the cheapest change that would serve them, if one is known."""

    demand: str
    reason: Reason
    remedy: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """The objective in its strict order, with the scalar that the bound is about (smaller is better).

    `points_short` are the priority points of riders not served, `mismatch` hundredths, `change`
    what changed promises cost in hundredths, `builds` rigs built by the crew,
    `value` all of them in one number in units of mismatch.
    """

    served: int
    points_short: int
    mismatch: int
    change: int
    builds: int
    crew_min: int
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A feasible day with its proof: no plan has a value under `bound`.

    `gap` is (value - bound) / value. `points_open` are priority points that the bound does not yet
    rule out winning: 0 says that no plan serves more. `proven` says that value and bound meet.
    """

    assignments: tuple[Assignment, ...]
    rigs: tuple[Rig, ...]
    unserved: tuple[Unserved, ...]
    score: Score
    bound: float
    gap: float
    points_open: int
    proven: bool
    method: str = field(default="", compare=False)

    def rig_up(self) -> tuple[Rig, ...]:
        """The rigs that the crew builds, in the order of building."""
        built = [rig for rig in self.rigs if not rig.stood]
        return tuple(
            sorted(
                built,
                key=lambda r: (r.ready_min or 0, r.built_min or (0, 0), r.hand or 0, r.needed_min or 0, r.id),
            )
        )
