"""Sources that a manager sets, and the worker's turn at them."""

from datetime import datetime
from typing import Any

import pytest

from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rentals.weather import tasks
from rentals.weather.fetched import Fetched
from rentals.weather.models import Kind, Run, Source
from rentals.weather.services import UnableToTakeWind, add_source, stop_source
from tests.rentals.walk import HOUR, Walk
from tests.rentals.weather.samples import sample

URL = "https://met.invalid/forecast"


def add(cast: Walk, **values: Any) -> Source:
    usual: dict[str, Any] = {"kind": Kind.LOCATIONFORECAST, "url": URL, "now": cast.now}
    return add_source(actor=cast.boss, station_id=cast.tarrow.pk, **{**usual, **values})


class TestSetting:
    def test_an_address_is_fetched_from_now_on(self, cast: Walk) -> None:
        source = add(cast)

        assert (source.active, source.next_try_at) == (True, cast.now)
        assert URL in cast.told("station", cast.tarrow.pk)[0]

    def test_one_known_already_is_switched_on_again(self, cast: Walk) -> None:
        first = add(cast)
        stop_source(actor=cast.boss, station_id=cast.tarrow.pk, source_id=first.pk, now=cast.now)

        again = add(cast, every_min=30)

        assert (again.pk, again.active, again.every_min) == (first.pk, True, 30)

    @pytest.mark.parametrize(
        ("wrong", "field"),
        [
            ({"kind": Kind.HAND}, "kind"),
            ({"url": "ftp://met.invalid/"}, "url"),
            ({"url": "met.invalid"}, "url"),
            ({"every_min": 4}, "every_min"),
            ({"every_min": 1441}, "every_min"),
        ],
    )
    def test_what_cannot_be_fetched_is_said_beside_its_field(
        self, cast: Walk, wrong: dict[str, Any], field: str
    ) -> None:
        with pytest.raises(UnableToTakeWind) as refusal:
            add(cast, **wrong)

        assert set(refusal.value.fields) == {field}
        assert not Source.objects.exists()

    def test_a_source_of_another_station_is_not_stopped(self, cast: Walk) -> None:
        source = Source.objects.create(station=cast.kettle, kind="taf", url=URL)

        with pytest.raises(NotVisible):
            stop_source(actor=cast.boss, station_id=cast.tarrow.pk, source_id=source.pk, now=cast.now)

        assert Source.objects.get().active


class TestTheWorkersTurn:
    @pytest.fixture(autouse=True)
    def _at(self, now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(clock, "now", lambda: now)

    def answered(self, monkeypatch: pytest.MonkeyPatch, *answers: Fetched) -> list[str]:
        """Let the sources answer one after another; return the addresses asked."""
        asked: list[str] = []
        waiting = iter(answers)

        def ask(url: str, **_: Any) -> Fetched:
            asked.append(url)
            return next(waiting)

        monkeypatch.setattr(tasks, "ask", ask)
        return asked

    def test_what_is_due_is_fetched_once(self, cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
        add(cast)
        body = sample("locationforecast_compact.json").encode()
        asked = self.answered(monkeypatch, Fetched(status="new", body=body, etag='"1"'))

        tasks.fetch()
        tasks.fetch()

        assert asked == [URL]
        assert Run.objects.get().source == Source.objects.get(etag='"1"')

    def test_a_source_that_fails_does_not_keep_the_next_from_its_turn(
        self, cast: Walk, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        add(cast, now=cast.now - HOUR)
        add(cast, url=f"{URL}/other")
        asked = self.answered(
            monkeypatch, Fetched(status="failed", error="No answer."), Fetched(status="unchanged")
        )

        tasks.fetch()

        assert asked == [URL, f"{URL}/other"]
        assert Source.objects.get(url=URL).error == "No answer."
        assert Source.objects.get(url=f"{URL}/other").succeeded_at == cast.now

    @pytest.mark.parametrize("body", [b"", b"<html>Busy</html>", b"{"], ids=["empty", "a page", "cut short"])
    def test_what_cannot_be_read_is_a_failure_that_keeps_what_was_good(
        self, cast: Walk, monkeypatch: pytest.MonkeyPatch, body: bytes
    ) -> None:
        cast.blow()
        add(cast)
        self.answered(monkeypatch, Fetched(status="new", body=body, etag='"2"'))

        tasks.fetch()

        source = Source.objects.get()
        assert source.error.startswith("The source sent something that cannot be read.")
        assert (source.failures, source.etag) == (1, "")
        assert Run.objects.filter(kind="hand").exists()
