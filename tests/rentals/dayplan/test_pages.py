"""The rig-up page as staff see it: what it says, what it offers to whom, how little it asks of the rows."""

from datetime import timedelta

import pytest
from bs4 import BeautifulSoup
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from rentals.dayplan import services
from rentals.dayplan.mapping.shown import quality
from rentals.dayplan.models import Plan, RigTask
from rentals.lib import clock
from rentals.people.models import User
from tests.rentals.dayplan.day import WORKER, Day, rigs
from tests.rentals.walk import MINUTE

PAGE = "/tarrow-lagoon/rig-up/"
MOST_QUERIES = 12


def of(user: User) -> Client:
    """A browser of somebody signed in."""
    client = Client()
    client.force_login(user)
    return client


def words(client: Client, page: str = PAGE) -> str:
    """The text of a page, in one line."""
    answer = client.get(page)
    assert answer.status_code == 200
    return " ".join(BeautifulSoup(answer.content, "html.parser").get_text(" ").split())


def buttons(client: Client, page: str = PAGE) -> set[str]:
    """Words of the page's own buttons."""
    soup = BeautifulSoup(client.get(page).content, "html.parser").main
    assert soup is not None
    return {button.get_text(strip=True) for button in soup.find_all("button")}


class TestBeforeAPlan:
    def test_it_says_that_there_is_none_and_offers_one(self, day: Day) -> None:
        day.two()
        client = of(day.cast.instructor)

        assert "No plan of this day yet" in words(client)
        assert "Plan the day" in buttons(client)

    def test_the_desk_is_told_who_asks(self, day: Day) -> None:
        day.two()
        client = of(day.cast.desk)

        assert "Instructors and managers ask for one" in words(client)
        assert buttons(client) == set()

    def test_with_nobody_booked_the_refusal_stands_on_the_page(self, day: Day) -> None:
        assert day.cast.shed

        answer = of(day.cast.instructor).post(f"{PAGE}ask/")

        assert answer.status_code == 422
        assert "Nobody is left to plan for" in answer.content.decode()


class TestWhileItIsMade:
    def test_the_page_renews_itself_and_offers_to_cancel(self, day: Day) -> None:
        day.two()
        client = of(day.cast.instructor)
        client.post(f"{PAGE}ask/?day=2027-07-14")

        content = client.get(PAGE).content.decode()

        assert '<meta http-equiv="refresh" content="2">' in content
        assert "Plan 1 is being made" in content
        assert buttons(client) == {"Cancel it"}

    def test_the_plan_before_stays_in_force_and_says_so(self, day: Day) -> None:
        day.two()
        day.accepted()
        day.ask()

        assert "Plan 1 stays in force until you accept another" in words(of(day.cast.desk))

    def test_a_worker_that_died_is_told_of(self, day: Day) -> None:
        day.two()
        day.accepted()
        day.ask()
        for turn in range(3):
            services.take_plan(
                actor=WORKER,
                now=day.cast.now + turn * (services.SILENT_AFTER + timedelta(seconds=1)),
            )

        said = words(of(day.cast.desk))

        assert "Plan 2 failed" in said
        assert "What was in force stays in force" in said
        assert "plan 1 in force" in said


class TestAReadyPlan:
    def test_it_says_who_gets_which_and_how_good_that_is(self, day: Day) -> None:
        day.two()
        day.solved()

        said = words(of(day.cast.instructor))

        assert "2 of 2 riders have a rig" in said
        assert "Proven: no plan of this day is better." in said
        assert "Wren Alder" in said
        assert "Samphire 5.7 (S2)" in said

    def test_who_goes_short_is_named_with_what_it_would_take(self, day: Day) -> None:
        day.booked(day.cast.wren, day.reed())
        day.solved()

        said = words(of(day.cast.instructor))

        assert "1 do not" in said
        assert "It would take one more Lyme 400 RDM mast before 11:00" in said

    def test_the_day_is_drawn_with_a_table_beside_it(self, day: Day) -> None:
        day.two()
        day.solved()
        soup = BeautifulSoup(of(day.cast.desk).get(PAGE).content, "html.parser")

        drawing = soup.find("svg", class_="day-chart")
        assert drawing is not None
        assert drawing["role"] == "img"
        assert "Samphire 5.7 S2" in drawing.get_text()
        assert any("The same as a table" in details.get_text() for details in soup.find_all("details"))

    def test_it_is_accepted_by_whom_it_may(self, day: Day) -> None:
        day.two()
        plan = day.solved()

        assert "Accept plan 1" in buttons(of(day.cast.instructor))
        assert "Accept plan 1" not in buttons(of(day.cast.desk))
        answer = of(day.cast.desk).post(f"{PAGE}plans/{plan.pk}/accept/")
        assert answer.status_code == 403

    def test_what_has_changed_since_is_named_on_the_page(self, day: Day) -> None:
        day.two()
        plan = day.solved()
        day.cast.faulty("S1")
        client = of(day.cast.instructor)

        answer = client.post(f"{PAGE}plans/{plan.pk}/accept/")

        assert answer.status_code == 409
        assert "S1 cannot be given any more" in answer.content.decode()

    def test_who_was_booked_since_is_named(self, day: Day) -> None:
        day.two()
        day.solved()
        day.cast.booked(day.cast.rider("Sedge Moor", level="advanced"))

        assert "Since plan 1 was made: Sedge Moor was booked." in words(of(day.cast.desk))


class TestAdjusting:
    def test_another_sail_is_chosen_and_its_cost_shown(self, day: Day) -> None:
        outing, _ = day.two()
        plan = day.solved()
        client = of(day.cast.instructor)
        page = f"{PAGE}plans/{plan.pk}/riders/{outing.pk}/"
        assert "Sails that are safe in the wind of that time" in words(client, page)

        client.post(page, {"sail": "Samphire 5.7"})
        day.solved(Plan.objects.get(number=2))

        said = words(client)
        assert "Wren Alder: Samphire 5.7, by hand" in said
        assert "Beside plan 1" in said
        assert "riders served: 2, as before" in said
        assert "Back to plan 1" in said

    def test_a_sail_off_the_list_is_refused_beside_it(self, day: Day) -> None:
        outing, _ = day.two()
        plan = day.solved()

        answer = of(day.cast.instructor).post(
            f"{PAGE}plans/{plan.pk}/riders/{outing.pk}/", {"sail": "Sea Holly 8.5"}
        )

        assert answer.status_code == 422
        assert "Choose one of the sails that are safe" in answer.content.decode()


class TestTheList:
    def test_each_rig_is_ticked_off_with_one_tap(self, day: Day) -> None:
        day.two()
        task = rigs(day.accepted())[0]
        client = of(day.cast.desk)

        client.post(f"{PAGE}rigs/{task.pk}/tick/", {"built": "1"})

        assert RigTask.objects.get(pk=task.pk).ticked_at is not None
        assert "1 of 2 rigs built" in words(client)

    def test_rigs_whose_rider_waits_are_told_at_the_top(
        self, day: Day, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        day.two()
        day.accepted()
        monkeypatch.setattr(clock, "now", lambda: day.cast.at(11) + MINUTE)
        client = of(day.cast.desk)

        assert "2 rigs late." in words(client)
        title = BeautifulSoup(client.get(PAGE).content, "html.parser").title
        assert title is not None
        assert title.get_text().startswith("Late rigs")

    def test_a_rig_past_its_time_whose_rider_is_still_to_come_is_behind(
        self, day: Day, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        day.two()
        due = rigs(day.accepted())[0].due_at
        monkeypatch.setattr(clock, "now", lambda: due + MINUTE)

        said = words(of(day.cast.desk))

        assert "behind" in said
        assert "rigs late." not in said

    def test_a_rig_whose_parts_are_not_at_hand_cannot_be_ticked(self, day: Day) -> None:
        day.two()
        task = rigs(day.accepted())[0]
        day.cast.faulty(task.sail.tag)

        page = of(day.cast.desk).get(PAGE).content.decode()

        assert f"Not at hand: {task.sail.tag}" in page
        assert f"{task.sail.tag} is built" not in page

    def test_a_tick_that_cannot_be_is_said_on_the_page(self, day: Day) -> None:
        day.two()
        task = rigs(day.accepted())[0]
        day.cast.faulty(task.sail.tag)

        answer = of(day.cast.desk).post(f"{PAGE}rigs/{task.pk}/tick/", {"built": "1"})

        assert answer.status_code == 409
        assert "cannot be rigged now" in answer.content.decode()


@pytest.mark.parametrize(
    ("proven", "gap", "points_open", "says"),
    [
        (True, 0.0, 0, "Proven: no plan of this day is better."),
        (True, 0.0, 3, "Proven: no plan of this day is better."),
        (False, 0.0029, 0, "Within 0.3 % of the best possible; no plan serves more."),
        (False, 0.0031, 0, "Within 0.4 % of the best possible; no plan serves more."),
        (False, 0.00001, 0, "Within 0.1 % of the best possible; no plan serves more."),
        (False, 0.2, 5, "Within 20 % of the best possible; whether a plan serves more is not ruled out."),
        (False, 0.8, 5, "How near it is to the best possible is not known"),
    ],
)
def test_words_on_how_good_a_plan_is_claim_no_more_than_was_proven(
    proven: bool, gap: float, points_open: int, says: str
) -> None:
    assert quality(proven, gap, points_open).startswith(says)


@pytest.mark.parametrize("state", ["none", "waiting", "ready", "accepted"])
def test_the_page_asks_no_more_queries_however_many_riders(day: Day, state: str) -> None:
    for number in range(4):
        day.cast.booked(day.cast.rider(f"Rider {number}", level="advanced"), hour=11 + 2 * number, hours=1)
    day.two(hour=17, hours=1)
    plan = None if state == "none" else day.ask()
    if plan is not None and state != "waiting":
        day.solved(plan)
    if plan is not None and state == "accepted":
        day.accept(plan)
    client = of(day.cast.instructor)

    with CaptureQueriesContext(connection) as asked:
        assert client.get(PAGE).status_code == 200

    assert len(asked) <= MOST_QUERIES
