"""The rig-up page on a day of hundreds: what matters now comes first, the rest is told of and reachable."""

from datetime import timedelta
from itertools import count

import pytest
from bs4 import BeautifulSoup, Tag
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from rentals.bookings.models import Outing
from rentals.dayplan import queries
from rentals.dayplan.mapping.long_lists import MOST_ROWS, Cut, LongList, Turn
from rentals.dayplan.models import RigTask
from rentals.lib import clock
from tests.rentals.dayplan.crowd import crowd
from tests.rentals.dayplan.day import Day, rigs
from tests.rentals.walk import MINUTE

PAGE = "/tarrow-lagoon/rig-up/"
DAY = f"{PAGE}?day=2027-07-14"
HEAVIEST = 200_000
"""The product's promise of a page's weight [bytes]."""

MOST_QUERIES = 12


@pytest.fixture
def jory(day: Day) -> Client:
    """An instructor's browser."""
    client = Client()
    client.force_login(day.cast.instructor)
    return client


def soup(client: Client, address: str = DAY) -> Tag:
    """What a page says below its menu."""
    answer = client.get(address)
    assert answer.status_code == 200
    found = BeautifulSoup(answer.content, "html.parser").main
    assert found is not None
    return found


def said(tag: Tag) -> str:
    """Its text in one line."""
    return " ".join(tag.get_text(" ").split())


def places(page: Tag) -> list[int]:
    """Places of the crew's rigs on a page, in its order."""
    return [int(str(row["id"]).removeprefix("rig-")) for row in page.select("[id^=rig-]")]


def riders(page: Tag) -> list[str]:
    """Riders of the table of who gets which, in its order."""
    (table,) = (each for each in page.select("table") if "by time" in said(each))
    return [link.get_text() for link in table.select("tbody th a")]


def pages(client: Client, address: str) -> list[Tag]:
    """A list's page and those after it."""
    found = []
    while True:
        found.append(soup(client, address))
        after = [link for link in found[-1].select("a") if link.get_text() == "Those after"]
        if not after:
            return found
        address = str(after[0]["href"])


def led_to(page: Tag, words: str) -> str:
    """Where a link leads."""
    (link,) = (each for each in page.select("a") if each.get_text() == words)
    return str(link["href"])


def more(page: Tag, which: LongList | str) -> str:
    """Words of the link to the whole of a list."""
    return page.select(f"a[href='{DAY}&all={which}']")[-1].get_text()


def gone(outings: list[Outing]) -> None:
    """Let riders be back."""
    found = Outing.objects.filter(pk__in=[each.pk for each in outings])
    found.update(state="kitted")
    found.update(state="closed", closed_at=outings[0].ends_at)


def at(day: Day, hour: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let it be so late."""
    monkeypatch.setattr(clock, "now", lambda: day.cast.at(hour))


class TestUpToForty:
    def test_every_list_is_whole_and_no_more_is_spoken_of(self, day: Day, jory: Client) -> None:
        made = crowd(day, MOST_ROWS)
        gone(made.outings[:20])

        page = soup(jory)

        assert places(page) == list(range(1, 41))
        assert riders(page) == [each.rider.name for each in made.outings]
        assert "more of the day" not in said(page)


class TestTheCrewsList:
    def test_the_next_rigs_to_build_come_in_order_and_the_others_are_counted(
        self, day: Day, jory: Client
    ) -> None:
        made = crowd(day, 60)
        for number, task in enumerate(made.tasks[:12]):
            _tick(day, [task], ago=(12 - number) * MINUTE)

        page = soup(jory)

        # Five just ticked, so that a tick can be taken back, and the next thirty-five.
        assert places(page) == list(range(8, 48))
        assert "12 of 60 rigs built" in said(page)
        assert more(page, "rigs") == "20 more of the day"

    def test_late_ones_come_before_all_others(
        self, day: Day, jory: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        made = crowd(day, 100)
        at(day, 11, monkeypatch)
        keep = made.tasks[:3]
        _tick(day, made.tasks[3:80])

        page = soup(jory)

        assert places(page)[:3] == [task.place for task in keep]
        assert "3 rigs late." in said(page)

    def test_more_late_ones_than_a_list_holds_are_counted_and_linked(
        self, day: Day, jory: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        crowd(day, 100)
        at(day, 12, monkeypatch)

        page = soup(jory)

        assert "100 rigs late." in said(page)
        assert places(page) == list(range(1, 41))
        assert led_to(page, "and 60 more") == f"{DAY}&all=rigs"

    def test_the_whole_list_is_one_sheet_to_print_with_a_box_for_each_rig(
        self, day: Day, jory: Client
    ) -> None:
        crowd(day, 130)

        page = soup(jory, f"{DAY}&all=rigs")

        assert places(page) == list(range(1, 131))
        assert len(page.select(".rig-box")) == 130
        assert "130 rigs, 0 of 130 built" in said(page)
        assert led_to(page, "Back to the day") == DAY

    def test_over_its_pages_no_rig_is_missing(self, day: Day, jory: Client) -> None:
        crowd(day, 250)

        found = pages(jory, f"{DAY}&all=rigs")

        assert [len(places(each)) for each in found] == [200, 50]
        assert [place for each in found for place in places(each)] == list(range(1, 251))
        assert "201–250 of 250." in said(found[1])


class TestATick:
    def test_it_returns_to_the_rig_on_the_day_s_page(self, day: Day, jory: Client) -> None:
        made = crowd(day, 60)
        page = soup(jory)
        (button,) = page.select(f"[aria-label='{made.tasks[20].sail.tag} is built']")

        answer = jory.post(str(button["formaction"]), {"built": "1"})

        assert answer["Location"] == f"{DAY}#rig-21"
        assert 21 in places(soup(jory))
        assert "1 of 60 rigs built" in said(soup(jory))

    def test_it_is_taken_back_where_it_was_made(self, day: Day, jory: Client) -> None:
        made = crowd(day, 60)
        jory.post(f"{PAGE}rigs/{made.tasks[0].pk}/tick/", {"built": "1"})

        (button,) = soup(jory).select(f"[aria-label='Take back the tick of {made.tasks[0].sail.tag}']")
        jory.post(str(button["formaction"]), {"built": str(button["value"])})

        assert RigTask.objects.get(pk=made.tasks[0].pk).ticked_at is None

    def test_from_a_page_of_the_whole_list_it_returns_to_that_page(self, day: Day, jory: Client) -> None:
        made = crowd(day, 210)
        page = soup(jory, f"{DAY}&plan=2&all=rigs&page=2")
        (button,) = page.select(f"[aria-label='{made.tasks[204].sail.tag} is built']")

        answer = jory.post(str(button["formaction"]), {"built": "1"})

        assert answer["Location"] == f"{DAY}&plan=2&all=rigs&page=2#rig-205"

    def test_refused_it_says_so_on_the_page_where_it_was_made(self, day: Day, jory: Client) -> None:
        made = crowd(day, 60)
        (button,) = soup(jory, f"{DAY}&all=rigs").select(f"[aria-label='{made.tasks[0].sail.tag} is built']")
        type(made.tasks[0].sail).objects.filter(pk=made.tasks[0].sail_id).update(state="on_bench")

        answer = jory.post(str(button["formaction"]), {"built": "1"})

        page = BeautifulSoup(answer.content, "html.parser")
        assert answer.status_code == 409
        assert "cannot be rigged now" in said(page)
        assert len(places(page)) == 60

    def test_links_of_a_refusal_lead_to_pages_that_can_be_looked_at(self, day: Day, jory: Client) -> None:
        day.two()
        (task, *_) = rigs(day.accepted())
        day.cast.faulty(task.sail.tag)
        answer = jory.post(f"{PAGE}rigs/{task.pk}/tick/", {"built": "1"})

        page = BeautifulSoup(answer.content, "html.parser").main
        assert page is not None
        after = led_to(page, "Day after")

        assert jory.get(after).status_code == 200


class TestARigThatWentOut:
    def test_it_was_built_whether_ticked_or_not_and_is_never_late(
        self, day: Day, jory: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        first, _ = day.two()
        day.accepted()
        day.cast.watch_the_beach()
        first.refresh_from_db()
        day.cast.issue(first, kit_no=first.kit_no)
        monkeypatch.setattr(clock, "now", lambda: day.cast.at(11) + MINUTE)

        page = soup(jory)

        assert "1 rig late." in said(page)
        assert "went out" in said(page)
        assert "1 of 2 rigs built" in said(page)


class TestWhoGetsWhich:
    def test_the_next_forty_to_go_come_by_time_and_the_others_are_counted(
        self, day: Day, jory: Client
    ) -> None:
        made = crowd(day, 100)
        gone(made.outings[:30])

        page = soup(jory)

        assert riders(page) == [each.rider.name for each in made.outings[30:70]]
        assert "40 riders by time; 60 more of the day" in said(page)
        assert more(page, "riders") == "60 more of the day"

    def test_over_its_pages_nobody_is_missing_nor_twice(self, day: Day, jory: Client) -> None:
        made = crowd(day, 210, short=3)
        gone(made.outings[:30])

        found = [riders(each) for each in pages(jory, f"{DAY}&all=riders")]

        assert [len(each) for each in found] == [200, 10]
        assert [name for each in found for name in each] == [each.rider.name for each in made.served]

    def test_when_all_have_gone_it_says_that_nobody_is_to_come(self, day: Day, jory: Client) -> None:
        gone(crowd(day, 50).outings)

        page = soup(jory)

        assert "0 riders by time; 50 more of the day" in said(page)
        assert "Nobody of it is still to come." in said(page)

    def test_who_has_a_sail_that_the_wind_rules_out_is_shown_however_many_come_before(
        self, day: Day, jory: Client
    ) -> None:
        made = crowd(day, 100, has_a_wrong_sail=90)

        page = soup(jory)

        assert riders(page) == [each.rider.name for each in (*made.outings[:39], made.outings[90])]
        assert "call them in" in said(page)

    def test_another_sail_is_offered_on_every_page_of_a_plan_that_is_ready(
        self, day: Day, jory: Client
    ) -> None:
        crowd(day, 210, state="ready")

        found = pages(jory, f"{DAY}&all=riders")

        links = [link for page in found for link in page.select("a") if link.get_text() == "Another sail"]
        assert len(links) == 210
        assert jory.get(str(links[-1]["href"])).status_code == 200


class TestWhoGoesShort:
    def test_all_are_counted_and_the_nearest_in_time_named(self, day: Day, jory: Client) -> None:
        made = crowd(day, 5, short=90)

        page = soup(jory)

        assert "5 of 95 riders have a rig, 90 do not" in said(page)
        named = [each.rider.name for each in made.short if each.rider.name in said(page)]
        assert named == [each.rider.name for each in made.short[:40]]
        assert more(page, "short") == "50 more of the day"

    def test_the_others_are_on_their_own_page(self, day: Day, jory: Client) -> None:
        made = crowd(day, 5, short=90)

        found = said(soup(jory, f"{DAY}&all=short"))

        assert all(each.rider.name in found for each in made.short)


class TestTheDrawing:
    def test_it_draws_the_rigs_of_riders_not_yet_back_and_says_how_many_more(
        self, day: Day, jory: Client
    ) -> None:
        made = crowd(day, 100)
        gone(made.outings[:30])

        page = soup(jory)
        (drawing,) = page.select("svg.day-chart")

        drawn = [tag for tag in (task.sail.tag for task in made.tasks) if f" {tag}:" in said(drawing)]
        assert drawn == [task.sail.tag for task in made.tasks[30:70]]
        assert "40 rigs drawn of riders out or still to come; 60 more of the day" in said(page)

    def test_over_its_pages_no_rig_is_missing(self, day: Day, jory: Client) -> None:
        made = crowd(day, 130)

        found = [said(each) for each in pages(jory, f"{DAY}&all=drawn")]

        assert len(found) == 2
        assert all(any(f" {task.sail.tag}:" in each for each in found) for task in made.tasks)


class TestWhatChangedSince:
    def test_many_who_were_booked_since_are_counted_and_listed_elsewhere(
        self, day: Day, jory: Client
    ) -> None:
        crowd(day, 3)
        others = [day.cast.rider(f"Sedge Moor {number:02}", level="advanced") for number in range(50)]
        for first in range(0, 50, 10):
            day.cast.booked(*others[first : first + 10], hour=17, hours=1)

        page = soup(jory)

        assert said(page).count("was booked.") == 40
        found = said(soup(jory, led_to(page, more(page, "since"))))
        assert all(f"{each.name} was booked." in found for each in others)


class TestAnAddress:
    def test_of_each_list_there_is_a_page_even_when_it_is_empty(self, day: Day, jory: Client) -> None:
        day.two()
        day.solved()

        for which in LongList:
            heading = soup(jory, f"{DAY}&all={which}").h1
            assert heading is not None
            assert heading.get_text().startswith(which.heading)

    def test_beyond_the_last_page_is_the_last(self, day: Day, jory: Client) -> None:
        made = crowd(day, 210)

        assert riders(soup(jory, f"{DAY}&all=riders&page=99"))[-1] == made.served[-1].rider.name

    def test_a_list_that_nobody_knows_is_the_day(self, day: Day, jory: Client) -> None:
        day.two()
        day.solved()

        assert "Who gets which" in said(soup(jory, f"{DAY}&all=nothing"))


def test_no_page_of_a_day_of_400_is_heavier_than_promised(day: Day, jory: Client) -> None:
    crowd(day, 300, short=100)
    found = {DAY: len(jory.get(DAY).content)}
    for which in LongList:
        for number in count(1):
            address = f"{DAY}&all={which}&page={number}"
            answer = jory.get(address)
            found[address] = len(answer.content)
            if b"Those after" not in answer.content:
                break

    assert {address: weight for address, weight in found.items() if weight >= HEAVIEST} == {}
    assert len(found) > len(LongList) + 1


def test_a_page_asks_no_more_queries_however_long_the_day(day: Day, jory: Client) -> None:
    crowd(day, 90, short=45)

    for rest in ("", *(f"&all={which}" for which in LongList)):
        with CaptureQueriesContext(connection) as asked:
            jory.get(DAY + rest)
        assert len(asked) <= MOST_QUERIES, rest


def test_to_programs_the_plan_is_laid_out_whole(day: Day) -> None:
    made = crowd(day, 90, short=45)

    laid = queries.laid_out(made.plan)

    assert laid is not None
    assert [row.outing for row in laid.riders] == made.served
    assert [row.outing for row in laid.short] == made.short
    assert len(laid.rigs) == len(queries.tasks_of(made.plan)) == 90


class TestCutting:
    def test_what_is_done_gives_way_and_what_is_late_comes_before_what_is_next(self) -> None:
        turns = [Turn.DONE] * 30 + [Turn.NEXT] * 50 + [Turn.NOW] * 10 + [Turn.FIRST]

        found = Cut().of(LongList.RIGS, range(len(turns)), turns.__getitem__)

        assert found.rows == (*range(30, 59), *range(80, 91))
        assert found.hidden == 51

    def test_on_the_page_of_one_list_the_others_are_only_counted(self) -> None:
        found = Cut(LongList.RIDERS).of(LongList.SHORT, range(7))

        assert (found.rows, found.total) == ((), 7)


def _tick(day: Day, tasks: list[RigTask], *, ago: timedelta = MINUTE) -> None:
    RigTask.objects.filter(pk__in=[task.pk for task in tasks]).update(
        ticked_at=day.cast.now - ago, ticked_by=day.cast.instructor
    )
