"""Reports on deliveries: signed by the Standard Webhooks specification, or nothing is read."""

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.test.utils import override_settings
from standardwebhooks import Webhook

from rentals.lib.access import Act
from rentals.lib.writes import write
from rentals.mail.models import Letter
from rentals.mail.services import write_letter
from tests.cast import Cast
from tests.rentals.mail.test_returns import dsn

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
AT = "/api/v1/mail-reports/"
REPORT = {
    "message_id": "<booking.7.confirmed.0@marram.invalid>",
    "outcome": "bounced",
    "reason": "550 no such mailbox",
}


@pytest.fixture
def letter(cast: Cast) -> Letter:
    """A letter that was sent."""

    @write
    def happen() -> None:
        cast.boss.require(Act.LOOK, station_id=cast.tarrow.pk)
        write_letter(
            event="booking:7:confirmed:0", to="ada@brill.invalid", subject="Hello", body="Hello", now=cast.now
        )

    happen()
    Letter.objects.update(sent_at=cast.now)
    return Letter.objects.get()


def report(
    body: bytes,
    *,
    secret: str = SECRET,
    media_type: str = "application/json",
    signed: bytes | None = None,
    late: timedelta = timedelta(0),
) -> Any:
    at = datetime.now(UTC) - late
    words = (body if signed is None else signed).decode()
    headers = {
        "webhook-id": "msg_1",
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": Webhook(secret).sign("msg_1", at, words),
    }
    with override_settings(MAIL_REPORTS_SECRET=SECRET):
        return Client().post(AT, body, content_type=media_type, headers=headers)


def test_a_signed_report_marks_the_letter(letter: Letter) -> None:
    assert report(json.dumps(REPORT).encode()).status_code == 204

    letter.refresh_from_db()
    assert letter.bounced_at is not None
    assert letter.error == "550 no such mailbox"


def test_a_signed_notification_of_a_mail_server_marks_it_too(letter: Letter) -> None:
    assert report(dsn(), media_type="message/rfc822").status_code == 204

    letter.refresh_from_db()
    assert letter.error == "426 connection timed out"


@pytest.mark.parametrize(
    "wrong",
    [
        {"secret": "whsec_" + "A" * 32},
        {"signed": b"{}"},
        {"late": timedelta(minutes=6)},
        {"late": -timedelta(minutes=6)},
    ],
    ids=["another secret", "another body", "too old", "too new"],
)
def test_without_our_signature_nothing_is_read(letter: Letter, wrong: dict[str, Any]) -> None:
    answer = report(json.dumps(REPORT).encode(), **wrong)

    assert answer.status_code == 401
    assert answer.json()["type"].endswith("/not-signed/")
    letter.refresh_from_db()
    assert letter.bounced_at is None


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"webhook-id": "1", "webhook-timestamp": "now", "webhook-signature": "v1,x"},
        {"webhook-id": "1", "webhook-timestamp": "0", "webhook-signature": "nonsense"},
    ],
    ids=["none", "no time", "no signature"],
)
def test_headers_that_are_none_are_refused(letter: Letter, headers: dict[str, str]) -> None:
    with override_settings(MAIL_REPORTS_SECRET=SECRET):
        answer = Client().post(AT, b"{}", content_type="application/json", headers=headers)

    assert answer.status_code == 401


def test_without_a_secret_none_is_taken(letter: Letter) -> None:
    with override_settings(MAIL_REPORTS_SECRET=""):
        answer = Client().post(AT, b"{}", content_type="application/json")

    assert answer.status_code == 401


def test_what_is_off_is_said(letter: Letter) -> None:
    answer = report(json.dumps({**REPORT, "outcome": "lost"}).encode())

    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == ["/outcome"]


def test_a_message_that_is_no_report_is_refused(letter: Letter) -> None:
    answer = report(b"Subject: Out of office\r\n\r\nBack on Monday", media_type="message/rfc822")

    assert answer.status_code == 422
    assert answer.json()["type"].endswith("/no-report/")
