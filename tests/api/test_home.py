"""From home over the API: the promise, bookings by a token, lessons, and what staff see of them."""

from datetime import datetime
from typing import Any
from uuid import uuid4

import pytest
from django.core.cache import cache

from rentals.home import services
from rentals.home.models import Guest
from rentals.lib import clock
from tests.api.bodies import a_look, a_party_at_home, a_party_of_pupils, a_rider
from tests.api.client import Answer, Api
from tests.rentals.home.house import PUPIL, House
from tests.rentals.lessons.school import School
from tests.rentals.takings.shop import PriceList, Shop
from tests.rentals.takings.test_cancelling import rule
from tests.rentals.walk import Walk


@pytest.fixture
def cast(db: None, now: datetime) -> Walk:
    """The cast that can teach, too."""
    return Walk(now)


@pytest.fixture
def house(cast: Walk, monkeypatch: pytest.MonkeyPatch) -> House:
    """A station with an open page, at ten in the morning."""
    cache.clear()
    monkeypatch.setattr(clock, "now", lambda: cast.now)
    made = House(cast)
    made.open()
    return made


@pytest.fixture
def home(house: House) -> "Home":
    """The API as nobody has it."""
    return Home(house)


class Home:
    """Asks under the open page of Tarrow Lagoon, without a token of staff."""

    def __init__(self, house: House) -> None:
        self.api, self.root = Api(), f"/from-home/{house.cast.tarrow.slug}/"

    def get(self, rest: str = "", **query: Any) -> Answer:
        """Read."""
        return self.api.get(self.root + rest, **query)

    def post(self, rest: str, body: Any = None, **more: Any) -> Answer:
        """Do."""
        return self.api.post(self.root + rest, body, **more)


def test_the_page_says_its_rules_and_texts(home: Home) -> None:
    said = home.get().said

    assert (said["name"], said["phone"], said["change_until_min"]) == ("Tarrow Lagoon", "0700 888 000", 120)
    assert len(said["waiver"]) == 5
    assert said["text_version"]


def test_a_closed_page_is_not_there(house: House, home: Home) -> None:
    house.open(is_open=False)

    assert home.get().status == 404
    assert home.post("bookings/", a_party_at_home()).status == 404


def test_times_say_what_can_be_promised_and_what_it_costs(house: House, home: Home) -> None:
    PriceList(house.cast)

    times = home.post("times/", a_look()).said["times"]

    assert [time["starts_at"] for time in times] == [
        f"2027-07-14T{hour}:00:00+01:00" for hour in range(12, 18)
    ]
    assert all(time["free"] for time in times)
    assert times[0]["price"] == {"amount": "50.00", "currency": "EUR"}


class TestBooking:
    def test_a_booking_has_a_token_that_opens_it(self, house: House, home: Home) -> None:
        booked = home.post("bookings/", a_party_at_home())

        assert booked.status == 201
        seen = home.get(f"b/{booked.said['token']}/").said
        assert seen["state"] == "booked"
        assert [rider["name"] for rider in seen["riders"]] == ["Sorrel Reed"]

    def test_the_same_key_again_books_once(self, home: Home) -> None:
        key = uuid4()

        first, again = (home.post("bookings/", a_party_at_home(), once=key) for _try in range(2))

        assert (first.status, again.status) == (201, 201)
        assert Guest.objects.count() == 1

    def test_the_same_key_with_other_values_is_refused(self, home: Home) -> None:
        key = uuid4()
        home.post("bookings/", a_party_at_home(), once=key)

        assert home.post("bookings/", a_party_at_home(note="Cake"), once=key).status == 422

    def test_what_the_shed_cannot_promise_is_refused_and_can_be_waited_for(
        self, house: House, home: Home
    ) -> None:
        house.cast.blow(mean_ms=19.0, gust_ms=24.0)

        refused = home.post("bookings/", a_party_at_home())
        waits = home.post("waiting/", a_party_at_home())

        assert refused.status == 409
        assert refused.said["type"].endswith("/no-promise/")
        assert waits.said["visit"]["state"] == "waiting"

    @pytest.mark.parametrize(
        ("change", "pointer"),
        [
            ({"contact": {"name": "Sorrel Reed"}}, "/contact/email"),
            ({"starts_at": "2027-07-14T10:00+01:00"}, "/starts_at"),
            ({"riders": [a_rider(born_on="2014-05-05")]}, "/riders/0/guardian_name"),
            ({"riders": [a_rider(born_on="1901-05-05")]}, "/riders/0/born_on"),
            ({"privacy": False}, "/privacy"),
            ({"riders": []}, "/riders"),
            ({"riders": [a_rider()] * 7}, "/riders"),
        ],
    )
    def test_what_is_off_is_pointed_at(self, home: Home, change: dict[str, Any], pointer: str) -> None:
        refused = home.post("bookings/", a_party_at_home(**change))

        assert refused.status == 422
        assert list(refused.blamed) == [pointer]

    def test_after_too_many_tries_it_says_how_long_to_wait(self, home: Home) -> None:
        for _try in range(services.POSTS.most):
            home.post("bookings/", {})

        refused = home.post("bookings/", a_party_at_home())

        assert (refused.status, refused.headers["Retry-After"]) == (429, "600")
        assert not Guest.objects.exists()


class TestTheToken:
    @pytest.fixture
    def at(self, home: Home) -> str:
        return f"b/{home.post('bookings/', a_party_at_home()).said['token']}/"

    def test_it_moves_the_booking(self, home: Home, at: str) -> None:
        moved = home.post(
            f"{at}move/", {"starts_at": "2027-07-14T16:00+01:00", "ends_at": "2027-07-14T18:00+01:00"}
        )

        assert [time["starts_at"] for time in moved.said["times"]] == ["2027-07-14T16:00:00+01:00"]

    def test_a_move_without_a_time_is_pointed_at(self, home: Home, at: str) -> None:
        assert list(home.post(f"{at}move/", {}).blamed) == ["/starts_at"]

    def test_it_cancels_and_twice_changes_nothing(self, home: Home, at: str) -> None:
        assert [home.post(f"{at}cancel/").said["state"] for _try in range(2)] == ["left", "left"]

    def test_a_move_sent_twice_is_told_once(self, house: House, home: Home, at: str) -> None:
        to = {"starts_at": "2027-07-14T16:00+01:00", "ends_at": "2027-07-14T18:00+01:00"}

        assert [home.post(f"{at}move/", to).status for _try in range(2)] == [200, 200]

        assert house.kinds(Guest.objects.get()) == ["confirmed", "changed"]

    def test_a_fee_is_not_charged_that_was_not_agreed_to(self, house: House, home: Home) -> None:
        rule(Shop(house.cast), free=48)
        at = f"b/{home.post('bookings/', a_party_at_home()).said['token']}/"
        fee = home.get(at).said["cancel_fee"]

        refused = home.post(f"{at}cancel/")
        agreed = home.post(f"{at}cancel/", {"agreed_fee": fee["amount"]})

        assert fee["amount"] != "0.00"
        assert (refused.status, refused.said["type"].rsplit("/", 2)[1]) == (409, "costs-more")
        assert agreed.said["state"] == "left"

    def test_a_wrong_one_opens_nothing(self, home: Home, at: str) -> None:
        assert home.get(f"b/{'A' * 43}/").status == 404

    def test_after_the_rule_it_is_too_late(
        self, house: House, home: Home, at: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(clock, "now", lambda: house.cast.at(13))

        refused = home.post(f"{at}cancel/")

        assert refused.status == 409
        assert refused.said["type"].endswith("/too-late/")


class TestLessons:
    def test_open_lessons_have_seats_and_prices(self, house: House, home: Home) -> None:
        PriceList(house.cast)
        School(house.cast).lesson(seats=3)

        (offer,) = home.get("lessons/").said["lessons"]

        assert (offer["lesson"]["name"], offer["lesson"]["left"]) == ("First steps", 3)
        assert offer["price"] == {"amount": "55.00", "currency": "EUR"}

    def test_seats_are_taken_and_changed(self, house: House, home: Home) -> None:
        school = School(house.cast)
        lesson, other = school.lesson(), school.lesson(hours=(16,), name="Harness")

        booked = home.post(f"lessons/{lesson.pk}/bookings/", a_party_of_pupils())
        changed = home.post(f"b/{booked.said['token']}/move/", {"lesson_id": other.pk})

        assert [time["lesson"] for time in booked.said["visit"]["times"]] == ["First steps"]
        assert [time["lesson"] for time in changed.said["times"]] == ["Harness"]

    def test_the_last_seat_has_one_winner(self, house: House, home: Home) -> None:
        lesson = School(house.cast).lesson(seats=1)
        house.take(lesson, PUPIL)

        refused = home.post(f"lessons/{lesson.pk}/bookings/", a_party_of_pupils())

        assert refused.status == 409
        assert refused.said["type"].endswith("/lesson-full/")


class TestForStaff:
    def test_the_waiting_list_is_in_the_order_of_coming(self, house: House) -> None:
        later, sooner = house.queue(hour=16), house.queue(hour=14)
        house.book(hour=11)
        staff = Api(house.cast.desk)

        rows = staff.get(f"/stations/{house.cast.tarrow.slug}/guests/", state="waiting").said

        assert [row["booking_id"] for row in rows] == [later.booking_id, sooner.booking_id]

    def test_letters_that_came_back_are_listed_alone(self, house: House) -> None:
        lost, _went = (house.letters(house.book(hour=hour))[0] for hour in (11, 16))
        lost.bounced_at, lost.error = house.cast.now, "550 no such mailbox"
        lost.save()
        place = f"/stations/{house.cast.tarrow.slug}/letters/"
        staff = Api(house.cast.desk)

        assert len(staff.get(place).said) == 2
        (row,) = staff.get(place, lost="true").said
        assert row["error"] == "550 no such mailbox"
