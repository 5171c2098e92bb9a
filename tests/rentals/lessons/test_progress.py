"""What a student can do: kept as seen, by whom and when; a level rises by an instructor's word alone."""

import pytest

from rentals.lessons import queries, services
from rentals.lessons.models import LevelWord, Progress
from rentals.lessons.services import UnableToNoteProgress
from rentals.lib.problems import NotAllowed, NotVisible
from rentals.people import services as people
from rentals.people.models import Rider
from rigging.checks import skills
from rigging.levels import Level
from tests.rentals.lessons.school import School
from tests.rentals.people.test_riders import FACTS
from tests.rentals.walk import HOUR

BEGINNER = [key for key, _ in skills.SKILLS[Level.BEGINNER]]


def note(school: School, rider: Rider, seen: list[str], **values: object) -> list[Progress]:
    usual = {"actor": school.cast.jory, "shown": BEGINNER, "now": school.cast.now}
    return services.note_progress(rider_id=rider.pk, seen=seen, **{**usual, **values})  # type: ignore[arg-type]  # a test names any


def raise_level(school: School, rider: Rider, **values: object) -> LevelWord:
    usual = {
        "actor": school.cast.jory,
        "seen_level": "beginner",
        "level": "improver",
        "why": "Tacks and gybes both ways",
        "now": school.cast.now,
    }
    return services.change_level(rider_id=rider.pk, **{**usual, **values})  # type: ignore[arg-type]  # a test names any


class TestSeen:
    def test_it_is_kept_with_who_saw_it_and_when(self, school: School) -> None:
        rider, lesson = school.student(), school.lesson()

        (line,) = note(school, rider, ["beginner.tack"], lesson_id=lesson.pk)

        assert (line.by_id, line.at, line.lesson_id) == (
            school.cast.instructor.pk, school.cast.now, lesson.pk,
        )  # fmt: skip
        assert school.cast.told("rider", rider.pk)[0] == "Seen: Tacks"

    def test_the_same_ticks_again_add_nothing(self, school: School) -> None:
        rider = school.student()
        note(school, rider, ["beginner.tack"])

        assert note(school, rider, ["beginner.tack"]) == []

    def test_a_tick_taken_away_adds_a_line_and_leaves_the_first(self, school: School) -> None:
        rider = school.student()
        note(school, rider, ["beginner.tack"])
        note(school, rider, [])

        story = queries.progress_of(rider)

        assert story.seen == frozenset()
        assert [line.seen for line in story.lines] == [False, True]

    def test_what_was_not_on_the_page_stays(self, school: School) -> None:
        rider = school.student()
        note(school, rider, ["beginner.tack"])

        note(school, rider, [], shown=["beginner.gybe"])

        assert queries.progress_of(rider).seen == {"beginner.tack"}

    def test_a_skill_that_is_not_on_the_list_is_refused(self, school: School) -> None:
        with pytest.raises(UnableToNoteProgress, match="not on the list"):
            note(school, school.student(), ["beginner.fly"])

    def test_a_lesson_of_the_other_station_is_not_there(self, school: School) -> None:
        with pytest.raises(NotVisible):
            note(school, school.student(), ["beginner.tack"], lesson_id=999)

    def test_who_can_do_all_of_the_level_is_shown_as_ready(self, school: School) -> None:
        lesson, rider = school.lesson(), school.student()
        school.enrol(lesson, rider)
        note(school, rider, BEGINNER[1:])
        (pupil,) = queries.sheet(lesson, school.cast.tarrow).pupils
        assert (pupil.ready, pupil.open) == (False, (skills.TEXTS[BEGINNER[0]],))

        note(school, rider, BEGINNER)

        (pupil,) = queries.sheet(lesson, school.cast.tarrow).pupils
        assert pupil.ready

    def test_a_lesson_s_page_asks_no_more_with_more_students(
        self, school: School, django_assert_num_queries: object
    ) -> None:
        lesson = school.lesson()
        for name in ("Sedge", "Teasel", "Tansy"):
            rider = school.student(name)
            school.enrol(lesson, rider)
            note(school, rider, ["beginner.tack"])

        # seats, crew, hours, progress, notices, other lessons, spares
        with django_assert_num_queries(7):  # type: ignore[operator]
            assert len(queries.sheet(lesson, school.cast.tarrow).pupils) == 3


class TestLevel:
    def test_an_instructor_s_word_raises_it(self, school: School) -> None:
        rider = school.student()

        word = raise_level(school, rider)

        rider.refresh_from_db()
        assert rider.level == "improver"
        assert (word.old, word.new, word.by_id) == ("beginner", "improver", school.cast.instructor.pk)
        assert school.cast.told("rider", rider.pk)[0] == (
            "Level beginner → improver: Tacks and gybes both ways"
        )

    def test_the_desk_s_word_does_not(self, school: School) -> None:
        rider = school.student()

        with pytest.raises(NotAllowed):
            raise_level(school, rider, actor=school.cast.ida)

    def test_all_skills_seen_do_not_by_themselves(self, school: School) -> None:
        rider = school.student()
        note(school, rider, BEGINNER)

        rider.refresh_from_db()
        assert rider.level == "beginner"

    @pytest.mark.parametrize(
        ("wrong", "field"),
        [
            ({"level": "beginner"}, "level"),
            ({"level": "wizard"}, "level"),
            ({"seen_level": "taster"}, "level"),
            ({"why": " "}, "why"),
        ],
    )
    def test_a_word_that_does_not_hold_together_is_refused(
        self, school: School, wrong: dict[str, str], field: str
    ) -> None:
        with pytest.raises(UnableToNoteProgress) as refused:
            raise_level(school, school.student(), **wrong)

        assert set(refused.value.fields) == {field}
        assert not LevelWord.objects.exists()

    def test_the_rider_s_page_does_not_raise_it_for_the_desk(self, school: School) -> None:
        rider = school.cast.wren
        Rider.objects.filter(pk=rider.pk).update(level="taster")

        with pytest.raises(people.UnableToKeepRider) as refused:
            people.change_rider(
                actor=school.cast.ida, rider_id=rider.pk, facts=FACTS, now=school.cast.now + HOUR
            )

        assert set(refused.value.fields) == {"level"}
