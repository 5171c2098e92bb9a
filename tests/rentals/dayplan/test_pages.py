"""The rig-up page."""

from django.test import Client

from rentals.people.models import User
from tests.rentals.dayplan.day import Day


def of(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


PAGE = "/tarrow-lagoon/rig-up/"


def test_it_shows_something(day: Day) -> None:
    day.two()
    client = of(day.cast.instructor)
    answer = client.get(PAGE)
    assert answer.status_code == 200, answer.content.decode()
    answer = client.post(PAGE + "ask/?day=2027-07-14", follow=True)
    assert "is being made" in answer.content.decode()
    from rentals.dayplan.models import Plan

    plan = day.solved(Plan.objects.get())
    text = client.get(PAGE).content.decode()
    assert "Accept plan 1" in text
    answer = client.post(f"{PAGE}plans/{plan.pk}/accept/", follow=True)
    assert "in force" in answer.content.decode()
