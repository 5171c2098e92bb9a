"""What is signed at the desk's tablet, and what was."""

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.core import signing
from django.utils.translation import gettext as _

from rentals.home.models import Front, Signature
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.people.models import Rider, User
from rentals.stations.models import Station

TEXTS: Final = "2026-1"
"""Version of our waiver and privacy texts; raise it whenever their words change."""

HAND_OVER: Final = "rentals.home.hand-over"
HANDED_FOR: Final = timedelta(minutes=30)
"""How long a rider may read before the page is over. Policy."""


def text_version(house_rules: str) -> str:
    """Return the version of a station's waiver: of our words, and the digest of its house rules if any."""
    rules = house_rules.strip()
    return f"{TEXTS}+{hashlib.sha256(rules.encode()).hexdigest()[:12]}" if rules else TEXTS


def house_rules(station: Station) -> str:
    """Return what a station shows with the waiver: one query."""
    return Front.objects.filter(station=station).values_list("house_rules", flat=True).first() or ""


@dataclass(frozen=True, slots=True)
class HandedOver:
    """A tablet in the hands of a rider: who signs on it, who gave it to them, and when."""

    rider: Rider
    by: User
    at: datetime


def token_of(rider: Rider, actor: Actor, *, now: datetime) -> str:
    """Return the secret under which a rider signs without a session of the station's."""
    told = {"rider": rider.pk, "by": actor.person_id, "at": now.isoformat()}
    return signing.dumps(told, salt=HAND_OVER)


def handed_over(slug: str, token: str, *, now: datetime) -> HandedOver:
    """Return what a secret stands for: three queries.

    Raises:
        NotVisible: it is none of ours, or was given out too long ago.
    """
    try:
        told = signing.loads(token, salt=HAND_OVER)
        at = datetime.fromisoformat(told["at"])
        rider = Rider.objects.select_related("station").get(pk=told["rider"], station__slug=slug)
        by = User.objects.get(pk=told["by"], is_active=True)
    except (signing.BadSignature, Rider.DoesNotExist, User.DoesNotExist) as none:
        raise NotVisible(_("This page is over. Please hand the tablet back to the desk.")) from none
    if not timedelta(0) <= now - at <= HANDED_FOR:
        raise NotVisible(_("This page is over. Please hand the tablet back to the desk."))
    return HandedOver(rider, by, at)


def signed_since(rider: Rider, at: datetime) -> bool:
    """Say whether a rider signed on the tablet since it was handed over: one query."""
    return Signature.objects.filter(rider=rider, at_desk__isnull=False, signed_at__gte=at).exists()


def signatures_of(rider: Rider) -> list[Signature]:
    """Return what was agreed to for a rider, newest first: one query."""
    found = Signature.objects.filter(rider=rider).select_related("at_desk")
    return list(found.order_by("-signed_at", "-id"))
