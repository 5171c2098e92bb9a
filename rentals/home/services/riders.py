"""What a party changes about its riders by its secret link, until the day of the outing begins."""

from datetime import datetime

from django.utils.translation import gettext as _

from rentals.bookings.states import OutingState
from rentals.home import queries
from rentals.home.models import Front, Guest, Signature
from rentals.home.services.booking import DayMoved, keep_promised, locked
from rentals.home.services.changing import TooLate, UnableToMoveGuest, found
from rentals.home.services.signing import version_of
from rentals.home.states import IN_THE_DAY
from rentals.lib.access import Actor, System
from rentals.lib.problems import NotVisible
from rentals.lib.writes import inside_write, write
from rentals.people import services as people
from rentals.people.models import Rider
from rentals.people.services import RiderFacts, UnableToKeepRider


def change_rider_from_home(
    *, actor: Actor, front: Front, guest: Guest, rider_id: int, facts: RiderFacts, now: datetime
) -> Rider:
    """Change a rider's facts; of a rental, only when the party can still be served with them.

    Raises:
        NotVisible: no such rider in that party.
        UnableToKeepRider: a fact that cannot be, a level raised without an instructor's word, or a birth date
            that would make a minor an adult.
        UnableToPromise: no rig is left for the new mass or level; nothing is changed.
        TooLate: the day has begun.
        UnableToMoveGuest: nobody is expected any more, or the kit is chosen already.
    """
    return keep_promised(
        lambda: queries.see_changed(
            front, guest, rider_id, mass_kg=facts.mass_kg, level=facts.level, now=now
        ),
        lambda mark: keep_facts(
            actor=actor,
            guest_id=guest.pk,
            front_id=front.pk,
            rider_id=rider_id,
            facts=facts,
            mark=mark,
            now=now,
        ),
    )


@write
def keep_facts(
    *,
    actor: Actor,
    guest_id: int,
    front_id: int,
    rider_id: int,
    facts: RiderFacts,
    mark: str,
    now: datetime,
) -> Rider:
    """Keep a rider's facts on the day that was looked at; an empty mark where none had to be.

    Raises:
        DayMoved: the day is not the one that was looked at.
    """
    actor.require_system(System.HOME)
    front = locked(front_id)
    guest = found(guest_id)
    rider = _rider_of(front, guest, rider_id, now)
    if mark and queries.mark_of(front.station, guest.starts_at) != mark:
        raise DayMoved
    before = rider.waiver_signed_at, rider.guardian_consent_at
    _refuse_coming_of_age(front, guest, rider, facts)
    people.edit_rider(actor=actor, act=System.HOME, rider=rider, facts=facts, now=now)
    _sign_what_is_new(front, guest, rider, before, now)
    return rider


def _rider_of(front: Front, guest: Guest, rider_id: int, now: datetime) -> Rider:
    rider = guest.riders.filter(pk=rider_id).first()
    if rider is None:
        raise NotVisible(_("There is no such rider in this booking."))
    if guest.state not in IN_THE_DAY:
        raise UnableToMoveGuest(_("This booking is not in force any more. Book anew, please."))
    if not queries.before_the_day(front, guest, now=now):
        said = _("On the day itself only the desk changes this. Please call %(phone)s.")
        raise TooLate(said % {"phone": front.phone})
    if any(
        outing.state != OutingState.BOOKED
        for outing in queries.outings_of(guest)
        if outing.rider_id == rider_id
    ):
        said = _("The kit is chosen already. Please call %(phone)s.")
        raise UnableToMoveGuest(said % {"phone": front.phone})
    return rider


def _refuse_coming_of_age(front: Front, guest: Guest, rider: Rider, facts: RiderFacts) -> None:
    """A guardian's consent is not got rid of by another birth date."""
    day = front.station.local(guest.starts_at).date()
    if rider.is_minor_on(day) and not Rider(born_on=facts.born_on).is_minor_on(day):
        said = _("With this date the rider would be an adult. Show the desk a paper with it, please.")
        raise UnableToKeepRider.at("born_on", said)


@inside_write
def _sign_what_is_new(
    front: Front,
    guest: Guest,
    rider: Rider,
    before: tuple[datetime | None, datetime | None],
    now: datetime,
) -> None:
    minor = rider.is_minor_on(front.station.local(now).date())
    named = rider.guardian_name if minor and rider.guardian_name else rider.name
    fresh = {
        Signature.What.WAIVER: named if rider.waiver_signed_at and not before[0] else "",
        Signature.What.GUARDIAN: rider.guardian_name if rider.guardian_consent_at and not before[1] else "",
    }
    Signature.objects.bulk_create(
        Signature(
            rider=rider,
            what=what,
            version=version_of(front),
            language=guest.language,
            name=name,
            signed_at=now,
        )
        for what, name in fresh.items()
        if name
    )
