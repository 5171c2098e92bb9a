"""Lessons, the roster, proposals for the wind, and calendars, as pages and other apps ask for them."""

from rentals.lessons.queries.feeds import Told, told
from rentals.lessons.queries.lessons import (
    LessonRow,
    OpenLesson,
    Pupil,
    Sheet,
    Story,
    lesson_for,
    lessons_between,
    open_lessons,
    progress_of,
    rows_of,
    sheet,
    skills_seen,
)
from rentals.lessons.queries.roster import (
    Candidate,
    OnDuty,
    Roster,
    StaffRow,
    candidates,
    instructors_on_duty,
    roster,
    staff_of,
    teaching_levels,
)
from rentals.lessons.queries.wind import Proposal, wind_proposals

__all__ = [
    "Candidate",
    "LessonRow",
    "OnDuty",
    "OpenLesson",
    "Proposal",
    "Pupil",
    "Roster",
    "Sheet",
    "StaffRow",
    "Story",
    "Told",
    "candidates",
    "instructors_on_duty",
    "lesson_for",
    "lessons_between",
    "open_lessons",
    "progress_of",
    "roster",
    "rows_of",
    "sheet",
    "skills_seen",
    "staff_of",
    "teaching_levels",
    "told",
    "wind_proposals",
]
