"""Keeping what was agreed to: which text, which version, in which language, by whom and when."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from rentals.audit import services as journal
from rentals.home import queries
from rentals.home.models import LANGUAGES, Front, Signature
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, NotVisible, Refused
from rentals.lib.writes import inside_write, write
from rentals.people.models import Rider


class UnableToSign(Refused):
    """Something that a signature needs is missing."""

    slug = "signature-refused"
    title = "Check what you entered"


class TextChanged(Conflict):
    """The text was changed while somebody read it."""

    slug = "text-changed"
    title = "The text has changed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """What somebody signed on the tablet: the text in the version and language that they read, and who.

    `relation` and `phone` are a guardian's.
    """

    version: str
    language: str
    name: str
    relation: str = ""
    phone: str = ""


def version_of(front: Front) -> str:
    """Return the version of what is shown at a station: ours, and the digest of its house rules if any."""
    return queries.text_version(front.house_rules)


@inside_write
def sign(*, front: Front, riders: Sequence[Rider], contact_name: str, language: str, now: datetime) -> None:
    """Keep signatures for riders just entered: the waiver, a guardian's consent, and the privacy notice."""
    version, today = version_of(front), front.station.local(now).date()
    made = []
    for rider in riders:
        by = rider.guardian_name if rider.is_minor_on(today) and rider.guardian_name else rider.name
        signed = {
            Signature.What.WAIVER: by if rider.waiver_signed_at else "",
            Signature.What.GUARDIAN: rider.guardian_name if rider.guardian_consent_at else "",
            Signature.What.PRIVACY: contact_name,
        }
        made += [
            Signature(rider=rider, what=what, version=version, language=language, name=name, signed_at=now)
            for what, name in signed.items()
            if name
        ]
    Signature.objects.bulk_create(made)


@write
def sign_at_desk(*, actor: Actor, rider_id: int, signed: Signed, handed_at: datetime, now: datetime) -> Rider:
    """Keep what a rider, or a minor's guardian, signed on the tablet; a second tap changes nothing.

    Args:
        actor: who handed the tablet over and is at the desk.
        rider_id: who goes on the water.
        signed: what was read, and by whom.
        handed_at: when the tablet was handed over.
        now: the moment.

    Raises:
        NotVisible: there is no such rider for the actor.
        TextChanged: the text is not the one that was read.
        UnableToSign: something is missing.
    """
    rider = Rider.objects.visible_to(actor).select_for_update().filter(pk=rider_id).first()
    if rider is None:
        raise NotVisible("There is no such rider here.")
    actor.require(Act.EDIT_RIDER, station_id=rider.station_id)
    if queries.signed_since(rider, handed_at):
        return rider
    minor = rider.is_minor_on(rider.station.local(now).date())
    if signed.version != queries.text_version(queries.house_rules(rider.station)):
        raise TextChanged(_("The text was changed while you read it. Please read it again."))
    _require_whole(signed, minor)
    rider.waiver_signed_at = now
    if minor:
        rider.guardian_name, rider.guardian_phone = signed.name, signed.phone
        rider.guardian_consent_at = now
    rider.save()
    whats = [Signature.What.WAIVER, Signature.What.GUARDIAN] if minor else [Signature.What.WAIVER]
    Signature.objects.bulk_create(
        Signature(
            rider=rider,
            what=what,
            version=signed.version,
            language=signed.language,
            name=signed.name,
            signed_at=now,
            relation=signed.relation if minor else "",
            at_desk_id=actor.person_id,
        )
        for what in whats
    )
    text = f"Waiver{' and guardian’s consent' if minor else ''} signed on the tablet"
    data = {"version": signed.version, "language": signed.language}
    line = journal.Line("rider", rider.pk, f"{text}, version {signed.version}, {signed.language}", data)
    journal.record(actor=actor, act=Act.EDIT_RIDER, station_id=rider.station_id, lines=[line], now=now)
    return rider


def _require_whole(signed: Signed, minor: bool) -> None:
    wrong: dict[str, str] = {}
    if not signed.name.strip():
        wrong["name"] = _("Enter your full name.")
    if signed.language not in dict(LANGUAGES):
        wrong["language"] = _("Choose one of the languages.")
    if minor and signed.relation not in Signature.Relation.values:
        wrong["relation"] = _("Say how you are related to the rider.")
    if minor and not signed.phone.strip():
        wrong["phone"] = _("Enter a phone where we reach you.")
    if wrong:
        raise UnableToSign(next(iter(wrong.values())), fields=wrong)
