"""Letters as the mail world names them, and what it reports of those that did not arrive."""

import re
from dataclasses import dataclass
from email import message_from_bytes, message_from_string, policy
from email.errors import MessageError
from email.message import EmailMessage, Message
from typing import Final

DOMAIN: Final = "marram.invalid"
_MESSAGE_ID: Final = re.compile(rf"<?([^<>@\s]+)@{re.escape(DOMAIN)}>?", re.IGNORECASE)
LOST: Final = "failed"
"""The action that says that a recipient was given up: RFC 3464, section 2.3.3."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What became of one letter: whose Message-ID it is, whether it was given up, and why."""

    message_id: str
    lost: bool
    reason: str = ""


class Unreadable(ValueError):
    """A message that is no report on a delivery."""


def message_id_of(event: str) -> str:
    """Return the Message-ID of an event's letter, the same at each try."""
    return f"<{event.replace(':', '.')}@{DOMAIN}>"


def event_in(message_id: str) -> str:
    """Return the event that a Message-ID of ours names; empty for any other."""
    found = _MESSAGE_ID.fullmatch(message_id.strip())
    return found[1].replace(".", ":") if found else ""


def read_dsn(content: bytes) -> Report:
    """Read a delivery status notification: a multipart/report as mail servers send it (RFC 3464, RFC 6522).

    Raises:
        Unreadable: it is none, or it does not name the message that it is about.
    """
    try:
        message = message_from_bytes(content, policy=policy.default)
        blocks, original = _parts(message)
        message_id = str(original.get("Message-ID") or "").strip()
        recipients = [block for block in blocks if block.get("Action")]
        told = [(str(each["Action"]).strip().casefold(), _reason(each)) for each in recipients]
    except (MessageError, LookupError, ValueError, AttributeError) as problem:
        raise Unreadable("Send a delivery status notification whole, as it came (RFC 3464).") from problem
    if not told or not message_id:
        raise Unreadable("The message is no delivery status notification, or names no Message-ID.")
    lost = [reason for action, reason in told if action == LOST]
    return Report(message_id=message_id, lost=bool(lost), reason=(lost or [told[0][1]])[0])


def _parts(message: EmailMessage) -> tuple[list[Message], Message]:
    """Return the fields told of the recipients, and the headers of the message that was sent."""
    blocks: list[Message] = []
    original: Message = EmailMessage()
    for part in message.walk():
        kind = part.get_content_type()
        if kind == "message/delivery-status":
            blocks = list(part.get_payload())  # type: ignore[arg-type]  # a list of blocks for this type
        elif kind == "message/rfc822" and part is not message:
            original = part.get_payload(0)  # type: ignore[assignment]  # one message for this type
        elif kind == "text/rfc822-headers":
            original = message_from_string(part.get_content(), policy=policy.default)
    return blocks, original


def _reason(block: Message) -> str:
    """Return what the other side said, else the status code: RFC 3464, sections 2.3.4 and 2.3.6."""
    said = str(block.get("Diagnostic-Code") or "").partition(";")[2] or str(block.get("Status") or "")
    return " ".join(said.split())
