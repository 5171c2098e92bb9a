"""What students can do: seen and ticked by an instructor, and the word that changes a level."""

from collections.abc import Iterable
from datetime import datetime

from rentals.audit import services as journal
from rentals.lessons.models import LEVEL_NAMES, Lesson, LevelWord, Progress
from rentals.lessons.queries import skills_seen
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.writes import write
from rentals.people import services as people
from rentals.people.models import Rider
from rigging.checks import skills


class UnableToNoteProgress(Refused):
    """What was entered about a student does not hold together."""

    slug = "progress-refused"
    title = "Check what was seen"


@write
def note_progress(
    *,
    actor: Actor,
    rider_id: int,
    shown: Iterable[str],
    seen: Iterable[str],
    lesson_id: int | None = None,
    now: datetime,
) -> list[Progress]:
    """Keep what an instructor has seen a rider do; a tick taken away is kept as a line of its own.

    Args:
        actor: the instructor.
        rider_id: who was seen.
        shown: the skills that stood on the page; others are left as they are.
        seen: those of them that are ticked.
        lesson_id: in which lesson, if in one.
        now: the moment.

    Returns:
        The lines that were added: none when nothing changed.

    Raises:
        NotVisible: no such rider, or no such lesson, at the actor's stations.
        UnableToNoteProgress: a skill that is not on the list.
    """
    rider = _rider(actor, rider_id)
    actor.require(Act.TEACH, station_id=rider.station_id)
    assert actor.user_id is not None  # noqa: S101 - a role at a station is a person's
    on_page, ticked = set(shown), set(seen)
    if not (on_page | ticked) <= skills.TEXTS.keys():
        raise UnableToNoteProgress("A skill is not on the list. Reload the page.")
    _check_lesson(lesson_id, rider)
    before = skills_seen([rider.pk])[rider.pk]
    changed = sorted(key for key in on_page if (key in ticked) != (key in before))
    lines = [
        Progress(rider=rider, skill=key, seen=key in ticked, at=now, by_id=actor.user_id, lesson_id=lesson_id)
        for key in changed
    ]
    Progress.objects.bulk_create(lines)
    told = [
        journal.Line(
            "rider", rider.pk, f"{'Seen' if line.seen else 'No longer said'}: {skills.TEXTS[line.skill]}"
        )
        for line in lines
    ]
    journal.record(actor=actor, act=Act.TEACH, station_id=rider.station_id, lines=told, now=now)
    return lines


@write
def change_level(
    *,
    actor: Actor,
    rider_id: int,
    seen_level: str,
    level: str,
    why: str,
    lesson_id: int | None = None,
    now: datetime,
) -> LevelWord:
    """Change a rider's level by an instructor's word.

    Args:
        actor: the instructor.
        rider_id: whose.
        seen_level: the level that the page showed, so that a word is not given twice.
        level: the new one.
        why: what was seen.
        lesson_id: in which lesson, if in one.
        now: the moment.

    Raises:
        NotVisible: no such rider, or no such lesson, at the actor's stations.
        UnableToNoteProgress: no reason, no such level, or not the level that the page showed.
    """
    rider = _rider(actor, rider_id)
    actor.require(Act.RAISE_LEVEL, station_id=rider.station_id)
    assert actor.user_id is not None  # noqa: S101 - a role at a station is a person's
    if rider.level != seen_level:
        raise UnableToNoteProgress.at("level", f"{rider} is {rider.level} by now. Reload the page.")
    if level not in LEVEL_NAMES or level == rider.level:
        raise UnableToNoteProgress.at("level", "Choose another level than they have.")
    if not why.strip():
        raise UnableToNoteProgress.at("why", "Enter what you saw them do.")
    _check_lesson(lesson_id, rider)
    word = LevelWord.objects.create(
        rider=rider,
        old=rider.level,
        new=level,
        why=why.strip(),
        at=now,
        by_id=actor.user_id,
        lesson_id=lesson_id,
    )
    people.set_level(rider=rider, level=level)
    line = journal.Line("rider", rider.pk, f"Level {word.old} → {word.new}: {word.why}")
    journal.record(actor=actor, act=Act.RAISE_LEVEL, station_id=rider.station_id, lines=[line], now=now)
    return word


def _rider(actor: Actor, rider_id: int) -> Rider:
    rider = Rider.objects.visible_to(actor).select_for_update().filter(pk=rider_id).first()
    if rider is None:
        raise NotVisible("There is no such rider here.")
    return rider


def _check_lesson(lesson_id: int | None, rider: Rider) -> None:
    if lesson_id is None:
        return
    if not Lesson.objects.filter(pk=lesson_id, course__station_id=rider.station_id).exists():
        raise NotVisible("There is no such lesson here.")
