"""Writing letters and calls in the transaction of their event, and sending what waits."""

import base64
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.mime.text import MIMEText
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage

from rentals.lib.access import Actor, System
from rentals.lib.problems import Refused
from rentals.lib.writes import inside_write, write
from rentals.mail.mapping import Report, event_in, message_id_of
from rentals.mail.models import Call, Hook, Letter

FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=1)
LEASE = timedelta(minutes=2)
SECRET_BYTES = 32
LONGEST_URL = 300


class UnableToSetHook(Refused):
    """An address that cannot be called."""

    slug = "hook-refused"
    title = "Check the address"


@inside_write
def write_letter(
    *,
    event: str,
    to: str,
    subject: str,
    body: str,
    about: str = "",
    calendar: str = "",
    may_bounce: bool = False,
    now: datetime,
) -> None:
    """Put a letter into the outbox; a second one of the same event changes nothing.

    Args:
        event: key of what happened, unique.
        to, subject, body: of the mail.
        about: the thing it is about, such as `booking:7`.
        calendar: an iCalendar stream to go with it.
        may_bounce: whether a refusal for good ends it; an alarm is tried for ever.
        now: the moment.
    """
    letter = Letter(
        event=event,
        about=about,
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
            headers = {"Message-ID": message_id_of(letter.event)}
            message = EmailMessage(letter.subject, letter.body, to=[letter.to], headers=headers)
            if letter.calendar:
                message.attach(_as_part(letter.calendar))
            return Taken(letter_id=letter.pk, tries=letter.tries + 1, message=message)
    return None


def _as_part(calendar: str) -> MIMEText:
    """Return a calendar as a mail's part, which names its method as the stream does (RFC 6047, 2.4)."""
    part = MIMEText(calendar, "calendar", "utf-8")
    method = next((line[7:] for line in calendar.splitlines() if line.startswith("METHOD:")), "")
    if method:
        part.set_param("method", method)
    part.add_header("Content-Disposition", "attachment", filename="marram.ics")
    return part


@write
def put_down(*, actor: Actor, taken: Taken, error: str | None, for_good: bool = False, now: datetime) -> None:
    """Note that a taken letter was sent, or why not and when to try again, if at all."""
    actor.require_system(System.SEND)
    letter = Letter.objects.filter(pk=taken.letter_id)
    if error is None:
        letter.update(sent_at=now, error="")
    else:
        letter.update(error=error[:300], next_try_at=now + _wait(taken.tries))
        if for_good:
            letter.filter(may_bounce=True).update(bounced_at=now)


@write
def note_return(*, actor: Actor, report: Report, now: datetime) -> Letter | None:
    """Note that a letter came back after it was sent; None when the report is of no letter, or of none lost.

    The same report again changes nothing.
    """
    actor.require_system(System.NOTE_RETURNS)
    event = event_in(report.message_id)
    letter = Letter.objects.filter(event=event).first() if event and report.lost else None
    if letter is not None and letter.bounced_at is None:
        letter.bounced_at, letter.error = now, (report.reason or "no reason given")[:300]
        letter.save(update_fields=["bounced_at", "error"])
    return letter


@inside_write
def write_call(*, station_id: int, event: str, body: str, now: datetime) -> None:
    """Put a call to a station's address, if it has one, into the outbox; a second one changes nothing."""
    hook = Hook.objects.filter(station_id=station_id, stopped_at=None).first()
    if hook is not None:
        call = Call(hook=hook, event=event, body=body, written_at=now)
        Call.objects.bulk_create([call], ignore_conflicts=True)


@inside_write
def put_hook(*, station_id: int, url: str, now: datetime) -> str:
    """Keep the address that a station's alarms are posted to, in place of another; return its new secret.

    Calls that still wait for the old address are given up with it.

    Raises:
        UnableToSetHook: no https address, or one with a name and password in it.
    """
    _check_url(url)
    end_hook(station_id=station_id, now=now)
    secret = f"whsec_{base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()}"
    Hook.objects.create(station_id=station_id, url=url, secret=secret, set_at=now)
    return secret


@inside_write
def end_hook(*, station_id: int, now: datetime) -> bool:
    """Post a station's alarms nowhere any more; False when they were not."""
    return bool(Hook.objects.filter(station_id=station_id, stopped_at=None).update(stopped_at=now))


@dataclass(frozen=True, slots=True)
class TakenCall:
    """A call taken out of the box as a letter is; its event is its id wherever it arrives."""

    call_id: int
    tries: int
    event: str
    url: str
    secret: str
    body: str


@write
def take_call(*, actor: Actor, now: datetime) -> TakenCall | None:
    """Take the oldest call that is due, under a lease as a letter is; None when there is none."""
    actor.require_system(System.SEND)
    for call in Call.objects.waiting(now).select_related("hook")[:5]:
        mine = Call.objects.filter(pk=call.pk, tries=call.tries, sent_at=None)
        if mine.update(tries=call.tries + 1, next_try_at=now + LEASE):
            return TakenCall(
                call_id=call.pk,
                tries=call.tries + 1,
                event=call.event,
                url=call.hook.url,
                secret=call.hook.secret,
                body=call.body,
            )
    return None


@write
def put_down_call(*, actor: Actor, taken: TakenCall, error: str | None, now: datetime) -> None:
    """Note that a taken call was answered, or why not and when to try again."""
    actor.require_system(System.SEND)
    call = Call.objects.filter(pk=taken.call_id)
    if error is None:
        call.update(sent_at=now, error="")
    else:
        call.update(error=error[:300], next_try_at=now + _wait(taken.tries))


def _wait(tries: int) -> timedelta:
    return min(FIRST_WAIT * (1 << min(tries - 1, 10)), LONGEST_WAIT)


def _check_url(url: str) -> None:
    said = "Enter an https address without name and password, such as https://alarms.example.org/late."
    try:
        parts = urlsplit(url)
        whole = bool(parts.hostname) and not parts.username and (parts.port is None or parts.port > 0)
    except ValueError:
        whole = False
    schemes = ("http", "https") if settings.FETCH_PRIVATE else ("https",)
    if not whole or parts.scheme not in schemes or len(url) > LONGEST_URL or not url.isascii():
        raise UnableToSetHook.at("url", said)
