"""Keeping what was agreed to: which text, which version, in which language, by whom and when."""

import hashlib
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from rentals.home.models import Front, Signature
from rentals.lib.writes import inside_write
from rentals.people.models import Rider

TEXTS: Final = "2026-1"
"""Version of our waiver and privacy texts; raise it whenever their words change."""


def version_of(front: Front) -> str:
    """Return the version of what is shown at a station: ours, and the digest of its house rules if any."""
    if not front.house_rules.strip():
        return TEXTS
    return f"{TEXTS}+{hashlib.sha256(front.house_rules.strip().encode()).hexdigest()[:12]}"


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
