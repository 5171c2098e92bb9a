"""The outbox: a letter is sent at least once, by one worker at a time, with patience after a failure."""

from datetime import datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage as Received
from smtplib import SMTPRecipientsRefused

import pytest
from django.core import mail as sent
from django.core.mail import EmailMessage

from rentals.lib import clock
from rentals.lib.access import Act, System, service
from rentals.lib.writes import write
from rentals.mail import tasks
from rentals.mail.models import Letter
from rentals.mail.services import LEASE, LONGEST_WAIT, Taken, put_down, take_next, write_letter
from tests.rentals.walk import MINUTE, Walk

SENDER = service(System.SEND)

pytestmark = pytest.mark.django_db


@pytest.fixture
def letters(cast: Walk) -> None:
    """Two letters of two events."""
    for number in (1, 2):
        post(cast, f"overdue:{number}:alert")


def post(
    cast: Walk, event: str, body: str = "Look.", *, calendar: str = "", may_bounce: bool = False
) -> None:
    @write
    def happen() -> None:
        cast.boss.require(Act.LOOK, station_id=cast.tarrow.pk)
        write_letter(
            event=event,
            to="watch@tarrow.invalid",
            subject="Late",
            body=body,
            calendar=calendar,
            may_bounce=may_bounce,
            now=cast.now,
        )

    happen()


def take(at: datetime) -> Taken:
    taken = take_next(actor=SENDER, now=at)
    assert taken is not None
    return taken


class TestWriting:
    def test_a_second_letter_of_the_same_event_changes_nothing(self, cast: Walk) -> None:
        post(cast, "overdue:1:alert")
        post(cast, "overdue:1:alert", "Look again.")

        assert Letter.objects.get().body == "Look."


@pytest.mark.usefixtures("letters")
class TestTaking:
    def test_the_oldest_comes_first(self, now: datetime) -> None:
        assert take(now).message.extra_headers["Message-ID"] == "<overdue.1.alert@marram.invalid>"

    def test_a_letter_is_taken_by_one_worker(self, now: datetime) -> None:
        first, second = take(now), take(now)

        assert first.letter_id != second.letter_id
        assert take_next(actor=SENDER, now=now) is None

    def test_a_worker_that_died_with_it_is_made_up_for_when_its_lease_is_over(self, now: datetime) -> None:
        first = take(now)

        assert take(now).letter_id != first.letter_id
        assert take_next(actor=SENDER, now=now + LEASE - MINUTE) is None
        again = take(now + LEASE)
        assert (again.letter_id, again.tries) == (first.letter_id, 2)

    def test_a_letter_sent_again_is_recognisably_the_same(self, now: datetime) -> None:
        first, again = take(now), take(now + LEASE)

        assert first.message.extra_headers == again.message.extra_headers


@pytest.mark.usefixtures("letters")
class TestPuttingDown:
    def test_a_letter_that_was_sent_is_done(self, now: datetime) -> None:
        taken = take(now)

        put_down(actor=SENDER, taken=taken, error=None, now=now)

        letter = Letter.objects.get(pk=taken.letter_id)
        assert (letter.sent_at, letter.error) == (now, "")
        assert letter not in Letter.objects.waiting(now + timedelta(days=9))

    def test_a_failure_is_kept_in_words(self, now: datetime) -> None:
        taken = take(now)

        put_down(actor=SENDER, taken=taken, error="SMTPException: greylisted" + "x" * 400, now=now)

        letter = Letter.objects.get(pk=taken.letter_id)
        assert letter.error.startswith("SMTPException: greylisted")
        assert letter.sent_at is None

    def test_each_failure_doubles_the_wait_up_to_an_hour(self, now: datetime) -> None:
        Letter.objects.filter(event="overdue:2:alert").delete()
        at, waits = now, []
        for _try in range(9):
            put_down(actor=SENDER, taken=take(at), error="down", now=at)
            next_try_at = Letter.objects.get().next_try_at
            assert next_try_at is not None
            waits.append((next_try_at - at).total_seconds())
            at = next_try_at

        assert waits == [30, 60, 120, 240, 480, 960, 1920, 3600, 3600]
        assert max(waits) == LONGEST_WAIT.total_seconds()


@pytest.mark.usefixtures("letters")
class TestTheTask:
    @pytest.fixture(autouse=True)
    def _at(self, now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(clock, "now", lambda: now)

    def test_it_sends_what_waits_and_nothing_twice(self) -> None:
        tasks.send()
        tasks.send()

        assert [message.to for message in sent.outbox] == [["watch@tarrow.invalid"]] * 2

    @pytest.mark.parametrize("problem", [ConnectionRefusedError("nobody there"), OSError("no route")])
    def test_a_mail_server_that_is_away_stops_nothing(
        self, problem: Exception, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def fail(_message: EmailMessage) -> int:
            raise problem

        monkeypatch.setattr(EmailMessage, "send", fail)

        tasks.send()

        assert {letter.error for letter in Letter.objects.all()} == {f"{type(problem).__name__}: {problem}"}
        assert not Letter.objects.filter(sent_at__isnull=False).exists()


class TestAttachments:
    def test_its_part_names_the_method_of_the_calendar(self, cast: Walk) -> None:
        """RFC 6047, 2.4: the method parameter is needed, and the same as in the stream."""
        stream = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nMETHOD:CANCEL\r\nEND:VCALENDAR\r\n"
        post(cast, "booking:1:cancelled", calendar=stream)

        tasks.send()

        raw = message_from_bytes(sent.outbox[0].message().as_bytes(), policy=policy.default)
        (attached,) = raw.iter_attachments()
        assert attached.get_param("method") == "CANCEL"
        assert attached.get_content().splitlines() == stream.splitlines()

    def test_a_calendar_goes_with_its_letter(self, cast: Walk) -> None:
        post(cast, "booking:1:confirmed", calendar="BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n")

        sent_as = take(cast.now).message.message().as_bytes()
        received = message_from_bytes(sent_as, _class=Received, policy=policy.default)

        (attached,) = list(received.iter_attachments())
        assert (attached.get_content_type(), attached.get_filename()) == ("text/calendar", "marram.ics")
        assert "BEGIN:VCALENDAR" in attached.get_content()


class TestBounces:
    """Replies 4xx are for now and 5xx for good. Source: RFC 5321, section 4.2.1."""

    @pytest.fixture(autouse=True)
    def _at(self, now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(clock, "now", lambda: now)

    @pytest.mark.parametrize(
        ("code", "may_bounce", "bounces"),
        [(550, True, True), (553, True, True), (450, True, False), (550, False, False)],
    )
    def test_what_is_refused_for_good_is_given_up_unless_it_is_an_alarm(
        self, cast: Walk, monkeypatch: pytest.MonkeyPatch, code: int, may_bounce: bool, bounces: bool
    ) -> None:
        def refuse(message: EmailMessage) -> int:
            raise SMTPRecipientsRefused({message.to[0]: (code, b"no such mailbox")})

        post(cast, "booking:1:confirmed", may_bounce=may_bounce)
        monkeypatch.setattr(EmailMessage, "send", refuse)

        tasks.send()

        letter = Letter.objects.get()
        assert (letter.bounced_at is not None) == bounces
        assert "no such mailbox" in letter.error
        assert (letter in Letter.objects.waiting(cast.now + timedelta(days=1))) != bounces
