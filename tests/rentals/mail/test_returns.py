"""Letters that came back: what mail servers report, read and noted once."""

from datetime import timedelta

import pytest

from rentals.lib.access import Act, System, service
from rentals.lib.writes import write
from rentals.mail.mapping import Report, Unreadable, event_in, message_id_of, read_dsn
from rentals.mail.models import Letter
from rentals.mail.services import note_return, write_letter
from tests.rentals.walk import Walk

RETURNS = service(System.NOTE_RETURNS)

DSN = """\
Date: Thu, 7 Jul 1994 17:16:05 -0400
From: Mail Delivery Subsystem <MAILER-DAEMON@CS.UTK.EDU>
Message-Id: <199407072116.RAA14128@CS.UTK.EDU>
Subject: Returned mail: Cannot send message for 5 days
To: <owner-info-mime@cs.utk.edu>
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status;
      boundary="RAA14128.773615765/CS.UTK.EDU"

--RAA14128.773615765/CS.UTK.EDU

The original message was received at Sat, 2 Jul 1994 17:10:28 -0400

--RAA14128.773615765/CS.UTK.EDU
content-type: message/delivery-status

Reporting-MTA: dns; cs.utk.edu

Original-Recipient: rfc822;louisl@larry.slip.umd.edu
Final-Recipient: rfc822;louisl@larry.slip.umd.edu
Action: {action}
Status: 4.0.0
Diagnostic-Code: smtp; 426 connection timed out
Last-Attempt-Date: Thu, 7 Jul 1994 17:15:49 -0400

--RAA14128.773615765/CS.UTK.EDU
content-type: {kind}

{message_id}Subject: Your booking
From: station@localhost

--RAA14128.773615765/CS.UTK.EDU--
"""
"""The first example of RFC 3464, appendix E.1, with the headers of a letter of ours in its third part."""

OURS = "Message-ID: <booking.7.confirmed.0@marram.invalid>\n"


def dsn(action: str = "failed", kind: str = "message/rfc822", message_id: str = OURS) -> bytes:
    return DSN.format(action=action, kind=kind, message_id=message_id).replace("\n", "\r\n").encode()


class TestReading:
    @pytest.mark.parametrize("kind", ["message/rfc822", "text/rfc822-headers"])
    def test_a_failed_delivery_is_known_by_its_message_id(self, kind: str) -> None:
        assert read_dsn(dsn(kind=kind)) == Report(
            message_id="<booking.7.confirmed.0@marram.invalid>", lost=True, reason="426 connection timed out"
        )

    @pytest.mark.parametrize("action", ["delayed", "delivered", "relayed", "expanded"])
    def test_every_other_action_loses_nothing(self, action: str) -> None:
        """RFC 3464, 2.3.3."""
        assert not read_dsn(dsn(action)).lost

    @pytest.mark.parametrize(
        "content",
        [b"", b"\xff\xfe\0", b"Subject: Out of office\r\n\r\nBack on Monday", dsn(message_id="")],
        ids=["nothing", "octets", "an answer", "no Message-ID"],
    )
    def test_what_is_no_report_is_refused(self, content: bytes) -> None:
        with pytest.raises(Unreadable):
            read_dsn(content)

    def test_only_our_own_message_ids_name_an_event(self) -> None:
        assert event_in(message_id_of("booking:7:confirmed:0")) == "booking:7:confirmed:0"
        assert event_in("<199407072116.RAA14128@CS.UTK.EDU>") == ""


@pytest.mark.django_db
class TestNoting:
    def letter(self, cast: Walk) -> Letter:
        @write
        def happen() -> None:
            cast.boss.require(Act.LOOK, station_id=cast.tarrow.pk)
            write_letter(
                event="booking:7:confirmed:0",
                about="booking:7",
                to="ada@brill.invalid",
                subject="Hello",
                body="Hello",
                may_bounce=True,
                now=cast.now,
            )

        happen()
        Letter.objects.update(sent_at=cast.now)
        return Letter.objects.get()

    def test_a_letter_that_came_back_is_marked_once_with_the_reason(self, cast: Walk) -> None:
        letter = self.letter(cast)

        for minutes in (1, 2):
            note_return(actor=RETURNS, report=read_dsn(dsn()), now=cast.now + timedelta(minutes=minutes))

        letter.refresh_from_db()
        assert letter.bounced_at == cast.now + timedelta(minutes=1)
        assert letter.error == "426 connection timed out"

    @pytest.mark.parametrize(
        "report",
        [
            Report(message_id="<booking.7.confirmed.0@marram.invalid>", lost=False),
            Report(message_id="<booking.8.confirmed.0@marram.invalid>", lost=True),
            Report(message_id="<x@elsewhere.example>", lost=True),
        ],
        ids=["delayed", "unknown", "not ours"],
    )
    def test_a_report_of_none_of_ours_lost_marks_nothing(self, cast: Walk, report: Report) -> None:
        letter = self.letter(cast)

        assert note_return(actor=RETURNS, report=report, now=cast.now) is None

        letter.refresh_from_db()
        assert letter.bounced_at is None
