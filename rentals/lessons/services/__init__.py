"""Writing courses, seats, the crew, changes for the wind, progress and calendar addresses."""

from rentals.lessons.services.courses import (
    MOST_LESSONS,
    CourseFacts,
    UnableToPlanLesson,
    add_lesson,
    change_course,
    plan_course,
)
from rentals.lessons.services.crew import (
    MOST_SHIFTS,
    NotFree,
    NotQualified,
    PaperFacts,
    UnableToRoster,
    assign,
    drop_shift,
    end_absence,
    keep_paper,
    note_absence,
    release,
    roster_shifts,
)
from rentals.lessons.services.feeds import MadeFeed, make_feed, revoke_feed
from rentals.lessons.services.moving import Change, LessonMoved, change_lessons, note_told
from rentals.lessons.services.progress import UnableToNoteProgress, change_level, note_progress
from rentals.lessons.services.seats import (
    LessonFull,
    UnableToEnrol,
    change_seats,
    enrol,
    set_groups,
    take_seats,
)

__all__ = [
    "MOST_LESSONS",
    "MOST_SHIFTS",
    "Change",
    "CourseFacts",
    "LessonFull",
    "LessonMoved",
    "MadeFeed",
    "NotFree",
    "NotQualified",
    "PaperFacts",
    "UnableToEnrol",
    "UnableToNoteProgress",
    "UnableToPlanLesson",
    "UnableToRoster",
    "add_lesson",
    "assign",
    "change_course",
    "change_lessons",
    "change_level",
    "change_seats",
    "drop_shift",
    "end_absence",
    "enrol",
    "keep_paper",
    "make_feed",
    "note_absence",
    "note_progress",
    "note_told",
    "plan_course",
    "release",
    "revoke_feed",
    "roster_shifts",
    "set_groups",
    "take_seats",
]
