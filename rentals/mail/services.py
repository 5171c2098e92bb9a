"""Writing letters in the transaction of their event, and sending what waits."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.mail import EmailMessage

from rentals.lib.access import Actor, System
from rentals.lib.writes import inside_write, write
from rentals.mail.models import Letter

FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=1)
LEASE = timedelta(minutes=2)


@inside_write
def write_letter(
    *,
    event: str,
    to: str,
    subject: str,
    body: str,
    calendar: str = "",
    may_bounce: bool = False,
    now: datetime,
) -> None:
    """Put a letter into the outbox; a second one of the same event changes nothing.

    Args:
        event: key of what happened, unique.
        to, subject, body: of the mail.
        calendar: an iCalendar stream to go with it.
        may_bounce: whether a refusal for good ends it; an alarm is tried for ever.
        now: the moment.
    """
    letter = Letter(
        event=event,
        to=to,
        subject=subject,
        body=body,
        calendar=calendar,
        may_bounce=may_bounce,
        written_at=now,
    )
    Letter.objects.bulk_create([letter], ignore_conflicts=True)


@dataclass(frozen=True, slots=True)
class Taken:
    """A letter taken out of the box to be sent by this worker alone, until its lease runs out."""

    letter_id: int
    tries: int
    message: EmailMessage


@write
def take_next(*, actor: Actor, now: datetime) -> Taken | None:
    """Take the oldest letter that is due; None when there is none.

    The lease is the next try: a worker killed while sending leaves the letter to be sent again after it,
    under the same Message-ID. At least once, and recognisably the same.
    """
    actor.require_system(System.SEND)
    for letter in Letter.objects.waiting(now)[:5]:
        mine = Letter.objects.filter(pk=letter.pk, tries=letter.tries, sent_at=None)
        if mine.update(tries=letter.tries + 1, next_try_at=now + LEASE):
            message_id = f"<{letter.event.replace(':', '.')}@marram.invalid>"
            message = EmailMessage(
                letter.subject, letter.body, to=[letter.to], headers={"Message-ID": message_id}
            )
            if letter.calendar:
                message.attach("marram.ics", letter.calendar, "text/calendar")
            return Taken(letter_id=letter.pk, tries=letter.tries + 1, message=message)
    return None


@write
def put_down(*, actor: Actor, taken: Taken, error: str | None, for_good: bool = False, now: datetime) -> None:
    """Note that a taken letter was sent, or why not and when to try again, if at all."""
    actor.require_system(System.SEND)
    letter = Letter.objects.filter(pk=taken.letter_id)
    if error is None:
        letter.update(sent_at=now, error="")
    else:
        wait = min(FIRST_WAIT * 2 ** min(taken.tries - 1, 10), LONGEST_WAIT)
        letter.update(error=error[:300], next_try_at=now + wait)
        if for_good:
            letter.filter(may_bounce=True).update(bounced_at=now)
