"""Nobody teaches twice at once, no seat is taken twice or beyond the course's; what was seen stays as written."""

from django.db import migrations

from rentals.lessons.states import MOVES
from rentals.lib.rules import append_only, moves_only, no_overlap, refuse

AWAY = (
    "NEW.live AND EXISTS (SELECT 1 FROM lessons_absence AS a WHERE a.user_id = NEW.user_id AND a.live "
    "AND a.starts_at < NEW.ends_at AND a.ends_at > NEW.starts_at)"
)
ON_DUTY = (
    "NEW.live AND (EXISTS (SELECT 1 FROM lessons_shift AS s WHERE s.user_id = NEW.user_id AND s.live "
    "AND s.starts_at < NEW.ends_at AND s.ends_at > NEW.starts_at) OR EXISTS "
    "(SELECT 1 FROM lessons_assignment AS t WHERE t.user_id = NEW.user_id AND t.live "
    "AND t.starts_at < NEW.ends_at AND t.ends_at > NEW.starts_at))"
)


class Migration(migrations.Migration):
    dependencies = [("lessons", "0001_initial"), ("bookings", "0002_rules")]

    operations = [
        no_overlap(
            "one_lesson_at_a_time",
            table="lessons_assignment",
            key="user_id",
            live="{row}.live",
            says="one person has one lesson at a time",
        ),
        no_overlap(
            "on_duty_once",
            table="lessons_shift",
            key="user_id",
            live="{row}.live",
            says="one person is on the roster once at a time",
        ),
        refuse(
            "away_is_not_teaching",
            table="lessons_assignment",
            events="INSERT OR UPDATE",
            when=AWAY,
            says="who is away has no lesson",
        ),
        refuse(
            "away_is_not_on_duty",
            table="lessons_shift",
            events="INSERT OR UPDATE",
            when=AWAY,
            says="who is away is not on the roster",
        ),
        refuse(
            "absence_frees_duties_first",
            table="lessons_absence",
            events="INSERT OR UPDATE",
            when=ON_DUTY,
            says="who has a lesson or a shift is not away",
        ),
        refuse(
            "assigned_for_the_lesson",
            table="lessons_assignment",
            events="INSERT OR UPDATE",
            when=(
                "NEW.live AND NOT EXISTS (SELECT 1 FROM lessons_lesson AS l WHERE l.id = NEW.lesson_id "
                "AND l.state = 'planned' AND l.starts_at = NEW.starts_at AND l.ends_at = NEW.ends_at)"
            ),
            says="an assignment has the span of its planned lesson",
        ),
        refuse(
            "lesson_leaves_no_crew_behind",
            table="lessons_lesson",
            events="UPDATE",
            when=(
                "EXISTS (SELECT 1 FROM lessons_assignment AS t WHERE t.lesson_id = NEW.id AND t.live "
                "AND (NEW.state <> 'planned' OR t.starts_at <> NEW.starts_at OR t.ends_at <> NEW.ends_at))"
            ),
            says="a lesson moves with its crew",
        ),
        moves_only(
            "lesson_moves",
            table="lessons_lesson",
            moves=[(source.value, target.value) for source, target in MOVES],
            says="a lesson called off stays so; plan another",
        ),
        refuse(
            "seat_within_the_course",
            table="lessons_seat",
            events="INSERT OR UPDATE",
            when=(
                "NEW.live AND NEW.number > (SELECT c.seats FROM lessons_lesson AS l "
                "JOIN lessons_course AS c ON c.id = l.course_id WHERE l.id = NEW.lesson_id)"
            ),
            says="the course has no such seat",
        ),
        refuse(
            "course_keeps_its_students",
            table="lessons_course",
            events="UPDATE",
            when=(
                "EXISTS (SELECT 1 FROM lessons_seat AS s JOIN lessons_lesson AS l ON l.id = s.lesson_id "
                "WHERE l.course_id = NEW.id AND s.live AND s.number > NEW.seats)"
            ),
            says="a student has a seat beyond that number",
        ),
        refuse(
            "seat_of_a_lesson_booking",
            table="lessons_seat",
            events="INSERT OR UPDATE",
            when=(
                "NOT EXISTS (SELECT 1 FROM bookings_outing AS o JOIN bookings_booking AS b "
                "ON b.id = o.booking_id WHERE o.id = NEW.outing_id AND b.kind = 'lesson')"
            ),
            says="a seat is of an outing booked as a lesson",
        ),
        *append_only("lessons_progress"),
        *append_only("lessons_levelword"),
    ]
