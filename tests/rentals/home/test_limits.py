"""Counting posts from outside: exact under a rush, per address, and without keeping the address."""

from datetime import timedelta

import pytest

from rentals.home import services
from rentals.home.models import Tally
from rentals.home.services.limits import Limit
from tests.rentals.home.house import HOME
from tests.rentals.test_races import at_once
from tests.rentals.walk import Walk

FIFTY = Limit("try", 50, timedelta(minutes=10))


def post(cast: Walk, address: str = "192.0.2.1", after: timedelta = timedelta(0)) -> bool:
    """Addresses for documentation: RFC 5737."""
    return services.count_post(actor=HOME, limit=FIFTY, address=address, now=cast.now + after)


def test_another_address_is_counted_by_itself(cast: Walk) -> None:
    for _post in range(50):
        assert post(cast)

    assert not post(cast)
    assert post(cast, "192.0.2.2")


def test_a_new_span_begins_at_nought(cast: Walk) -> None:
    for _post in range(51):
        within = post(cast)

    assert not within
    assert post(cast, after=FIFTY.span)


def test_the_address_is_kept_nowhere(cast: Walk) -> None:
    post(cast)

    assert "192.0.2.1" not in str(list(Tally.objects.values()))


@pytest.mark.both_engines
class TestARush:
    @pytest.fixture
    def cast(self, committing: None, now: object) -> Walk:
        return Walk(now)  # type: ignore[arg-type]  # the moment

    def test_of_two_hundred_posts_exactly_fifty_are_let_through(self, cast: Walk) -> None:
        answers = at_once(*[lambda: [post(cast) for _post in range(25)]] * 8)

        assert sum(sum(each) for each in answers if isinstance(each, list)) == 50
