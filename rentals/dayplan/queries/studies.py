"""Studies of what the shed lacked: the days they can look at, and what they found."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from rentals.dayplan.models import Plan, Study
from rentals.dayplan.states import STUDY_UNDER_WAY, StudyState
from rentals.stations.models import Station
from rigging.allot.jsonform import Json

HUNDREDTHS: Final = 100


@dataclass(frozen=True, slots=True)
class Bought:
    """One unit more of a stock: riders it would have served more, mismatch saved, and on which days."""

    kind: str
    name: str
    riders: int
    points: int
    mismatch: float
    days: tuple[date, ...]
    sure: bool

    @property
    def words(self) -> str:
        """What it would have gained, as a sentence."""
        if self.riders > 0:
            gained = f"{self.riders} rider{'' if self.riders == 1 else 's'} more"
        elif self.points > 0:
            gained = "riders who were promised more served before others"
        elif self.mismatch > 0:
            gained = "nobody more, but better sails for those served"
        else:
            return "Nothing on these days."
        return (
            f"{gained[0].upper()}{gained[1:]}, on {len(self.days)} day{'' if len(self.days) == 1 else 's'}."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """The page of what the shed lacks: the study under way, and the newest that is done."""

    under_way: Study | None
    done: Study | None
    failed: Study | None
    bought: tuple[Bought, ...]

    @property
    def gained(self) -> tuple[Bought, ...]:
        """Purchases that would have changed something."""
        return tuple(each for each in self.bought if each.days)

    @property
    def idle(self) -> tuple[Bought, ...]:
        """Purchases that were tried and would have changed nothing."""
        return tuple(each for each in self.bought if not each.days)

    @property
    def others_points(self) -> int:
        """Points that no other purchase could have gained more than."""
        return int(self.done.result["others_points"]) if self.done and self.done.result else 0


def planned_days(station: Station, first_day: date, last_day: date) -> dict[str, int]:
    """Return by day the plan that was asked for the most riders, the newest of those: one query."""
    found: dict[str, tuple[int, int, int]] = {}
    plans = Plan.objects.filter(station=station, day__range=(first_day, last_day), result__isnull=False)
    for pk, day, number, served, unserved in plans.values_list("pk", "day", "number", "served", "unserved"):
        key = day.isoformat()
        found[key] = max(found.get(key, (0, 0, 0)), ((served or 0) + (unserved or 0), number, pk))
    return {day: pk for day, (_, _, pk) in sorted(found.items())}


def inputs_of(plan_ids: list[int]) -> dict[int, Json]:
    """Return the instances of plans by id: one query."""
    return dict(Plan.objects.filter(pk__in=plan_ids).values_list("pk", "inputs"))


def shelf(station: Station) -> Shelf:
    """Return the page of what the shed lacks: two queries."""
    studies = list(Study.objects.filter(station=station).defer("looks", "gains").order_by("-asked_at")[:20])
    done = next((study for study in studies if study.state == StudyState.READY), None)
    return Shelf(
        under_way=next((study for study in studies if study.state in STUDY_UNDER_WAY), None),
        done=done,
        failed=studies[0] if studies and studies[0].state == StudyState.FAILED else None,
        bought=bought(done) if done else (),
    )


def bought(study: Study) -> tuple[Bought, ...]:
    """Return the purchases of a study that is done, the best first: no query."""
    return tuple(
        Bought(
            kind=each["kind"].removesuffix("s"),
            name=each["name"],
            riders=each["riders"],
            points=each["points"],
            mismatch=each["mismatch"] / HUNDREDTHS,
            days=tuple(date.fromisoformat(day) for day in each["days"]),
            sure=each["sure"],
        )
        for each in (study.result or {"purchases": ()})["purchases"]
    )
