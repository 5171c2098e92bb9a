"""Lists of lessons, students and duties to take away as CSV."""

from collections.abc import Sequence

from rentals.lessons.queries.lessons import LessonRow, Sheet
from rentals.lessons.queries.roster import Roster
from rentals.lib.tables import Table
from rentals.stations.models import Station


def lessons_table(rows: Sequence[LessonRow], station: Station) -> Table:
    """Return lessons, one a row; times on the station's clock."""
    return Table(
        name="lessons",
        title="Lessons",
        columns=(
            "day", "from", "until", "lesson", "level", "language", "state", "seats", "taken", "instructors",
            "safety boat", "wind",
        ),
        rows=tuple(
            (
                f"{station.local(row.lesson.starts_at):%Y-%m-%d}",
                f"{station.local(row.lesson.starts_at):%H:%M}",
                f"{station.local(row.lesson.ends_at):%H:%M}",
                row.course.name,
                row.course.level,
                row.course.language,
                row.lesson.state,
                row.course.seats,
                len(row.seats),
                ", ".join(each.user.shown_name for each in row.teachers),
                ", ".join(each.user.shown_name for each in row.boat),
                row.wind.reason.text if row.wind else "",
            )
            for row in rows
        ),
    )  # fmt: skip


def students_table(found: Sheet) -> Table:
    """Return the students of a lesson, one a row."""
    return Table(
        name="students",
        title="Students",
        columns=("seat", "student", "level", "mass in kg", "language", "group", "outing", "still to be seen"),
        rows=tuple(
            (
                pupil.seat.number,
                pupil.rider.name,
                pupil.rider.level,
                pupil.rider.mass_kg,
                pupil.seat.language,
                pupil.seat.group_no,
                pupil.seat.outing.state,
                "; ".join(pupil.open),
            )
            for pupil in found.pupils
        ),
    )


def roster_table(found: Roster) -> Table:
    """Return a week of the roster, one duty, lesson or absence a row."""
    return Table(
        name="roster",
        title="Roster",
        columns=("day", "who", "what"),
        rows=tuple(
            (f"{day:%Y-%m-%d}", row.user.shown_name, line.text)
            for row in found.staff
            for day, lines in row.week
            for line in lines
        ),
    )
