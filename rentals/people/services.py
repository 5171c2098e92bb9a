"""Writing riders: who they are, how heavy, how good, and what they signed."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from rentals.audit import services as journal
from rentals.lib.access import Act, Actor, Role, System
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.writes import inside_write, write
from rentals.people.models import MASS_KG, STATURE_CM, MedicalNote, Posting, Rider, User
from rentals.stations import services as stations
from rentals.stations.models import Station
from rigging.levels import Level

OLDEST_YEARS = 100
YOUNGEST_YEARS = 5
MEDICAL_NOTE = 300
MEDICAL_VERSION = "2026-11"
MEDICAL_WORDING = (
    "I agree that the station keeps this note, and shows it to its staff and to those who come to help me. "
    "I can take this back at any time; the note is then removed."
)
"""What is agreed to. A new wording gets a new version."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RiderFacts:
    """What is entered about a rider. `waiver` and `consent` say what was signed just now or before."""

    name: str
    born_on: date
    mass_kg: Decimal
    stature_cm: int
    level: str
    swims: bool
    phone: str = ""
    waiver: bool = False
    guardian_name: str = ""
    guardian_phone: str = ""
    consent: bool = False


class UnableToKeepRider(Refused):
    """A rider's facts do not hold together."""

    slug = "rider-refused"
    title = "Check the rider's details"


@write
def change_rider(*, actor: Actor, rider_id: int, facts: RiderFacts, now: datetime) -> Rider:
    """Change a rider's facts.

    Raises:
        NotVisible: no such rider at the actor's stations.
        UnableToKeepRider: a fact out of range, or a level raised without an instructor, with its field.
    """
    rider = Rider.objects.visible_to(actor).select_for_update().filter(pk=rider_id).first()
    if rider is None:
        raise NotVisible("There is no such rider here.")
    actor.require(Act.EDIT_RIDER, station_id=rider.station_id)
    edit_rider(actor=actor, act=Act.EDIT_RIDER, rider=rider, facts=facts, now=now)
    return rider


@inside_write
def edit_rider(*, actor: Actor, act: Act | System, rider: Rider, facts: RiderFacts, now: datetime) -> None:
    """Change a rider's facts as part of a write that has asked who may.

    Raises:
        UnableToKeepRider: as `change_rider`.
    """
    _refuse_a_raise(actor, rider, facts)
    before = _told(rider)
    _apply(rider, facts, now)
    rider.save()
    changed = {
        key: [str(before[key]), str(value)] for key, value in _told(rider).items() if before[key] != value
    }
    line = journal.Line("rider", rider.pk, f"Changed {', '.join(changed) or 'nothing'}", changed)
    journal.record(actor=actor, act=act, station_id=rider.station_id, lines=[line], now=now)


@write
def keep_medical_note(
    *, actor: Actor, rider_id: int, note: str, agreed: bool, agreed_by: str = "", now: datetime
) -> MedicalNote | None:
    """Keep what helpers should know of a rider, in the wording they agreed to; an empty note removes it.

    The journal says that a note came or went, never what it says.

    Raises:
        NotVisible: no such rider at the actor's stations.
        UnableToKeepRider: a note that nobody agreed to.
    """
    rider = Rider.objects.visible_to(actor).select_for_update().filter(pk=rider_id).first()
    if rider is None:
        raise NotVisible("There is no such rider here.")
    actor.require(Act.EDIT_RIDER, station_id=rider.station_id)
    kept = None
    MedicalNote.objects.filter(rider=rider).delete()
    if note.strip():
        kept = _agreed_note(rider, note.strip(), agreed, agreed_by, now)
    text = f"Medical note kept; {kept.agreed_by} agrees" if kept else "Medical note removed"
    line = journal.Line("rider", rider.pk, text, {"wording": kept.wording if kept else ""})
    journal.record(actor=actor, act=Act.EDIT_RIDER, station_id=rider.station_id, lines=[line], now=now)
    return kept


def _agreed_note(rider: Rider, note: str, agreed: bool, agreed_by: str, now: datetime) -> MedicalNote:
    wrong = {}
    if not agreed:
        wrong["agreed"] = (
            "Keep a note only when the rider or guardian agrees. Tick it, or leave the note empty."
        )
    if rider.is_minor_on(now.date()) and not agreed_by.strip():
        wrong["agreed_by"] = "Enter the guardian who agrees."
    if len(note) > MEDICAL_NOTE:
        wrong["note"] = f"Enter at most {MEDICAL_NOTE} characters."
    if wrong:
        raise UnableToKeepRider(next(iter(wrong.values())), fields=wrong)
    return MedicalNote.objects.create(
        rider=rider,
        note=note,
        agreed_by=agreed_by.strip()[:120] or rider.name,
        agreed_at=now,
        wording=MEDICAL_VERSION,
    )


@inside_write
def set_level(*, rider: Rider, level: str) -> None:
    """Set a rider's level as part of the write that keeps an instructor's word."""
    rider.level = level
    rider.save(update_fields=["level"])


@inside_write
def keep_rider(*, station_id: int, facts: RiderFacts, now: datetime) -> Rider:
    """Keep a new rider, as part of the write that brings them."""
    rider = Rider(station_id=station_id)
    _apply(rider, facts, now)
    rider.save()
    return rider


def _refuse_a_raise(actor: Actor, rider: Rider, facts: RiderFacts) -> None:
    """A level is raised by the word of somebody who may teach; anybody may lower it."""
    raised = Level(facts.level).rank > Level(rider.level).rank
    if raised and not actor.may(Act.RAISE_LEVEL, station_id=rider.station_id):
        raise UnableToKeepRider.at(
            "level", _("Only an instructor's word raises a level. Ask one who saw them.")
        )


def check_facts(facts: RiderFacts, *, today: date) -> None:
    """Refuse facts out of range.

    Raises:
        UnableToKeepRider: every fact that is off, each with its field.
    """
    wrong: dict[str, str] = {}
    if not facts.name.strip():
        wrong["name"] = "Enter the rider's name."
    if not MASS_KG[0] <= facts.mass_kg <= MASS_KG[1]:
        wrong["mass_kg"] = f"Enter a mass between {MASS_KG[0]} and {MASS_KG[1]} kg."
    if not STATURE_CM[0] <= facts.stature_cm <= STATURE_CM[1]:
        wrong["stature_cm"] = f"Enter a stature between {STATURE_CM[0]} and {STATURE_CM[1]} cm."
    if facts.born_on > today:
        wrong["born_on"] = _("Enter a birth date in the past.")
    elif not YOUNGEST_YEARS <= (today - facts.born_on).days / 365.25 <= OLDEST_YEARS:
        said = _("Enter a birth date of a rider between %(youngest)s and %(oldest)s years old.")
        wrong["born_on"] = said % {"youngest": YOUNGEST_YEARS, "oldest": OLDEST_YEARS}
    if facts.consent and not facts.guardian_name.strip():
        wrong["guardian_name"] = _("Enter who consented.")
    if wrong:
        raise UnableToKeepRider(next(iter(wrong.values())), fields=wrong)


def _apply(rider: Rider, facts: RiderFacts, now: datetime) -> None:
    check_facts(facts, today=now.date())
    rider.name = " ".join(facts.name.split())
    rider.born_on = facts.born_on
    rider.mass_kg = facts.mass_kg
    rider.stature_cm = facts.stature_cm
    rider.level = facts.level
    rider.swims = facts.swims
    rider.phone = facts.phone.strip()
    rider.guardian_name = facts.guardian_name.strip()
    rider.guardian_phone = facts.guardian_phone.strip()
    rider.waiver_signed_at = (rider.waiver_signed_at or now) if facts.waiver else None
    rider.guardian_consent_at = (rider.guardian_consent_at or now) if facts.consent else None


_TOLD = (
    "name", "born_on", "mass_kg", "stature_cm", "level", "swims", "phone", "waiver_signed_at",
    "guardian_name", "guardian_phone", "guardian_consent_at",
)  # fmt: skip


def _told(rider: Rider) -> dict[str, object]:
    return {name: getattr(rider, name) for name in _TOLD}


@dataclass(frozen=True, slots=True, kw_only=True)
class StaffFacts:
    """A colleague to come: somebody who signs in already, by name alone, or somebody new."""

    username: str
    first_name: str = ""
    last_name: str = ""
    password: str = ""
    role: str


class UnableToHire(Refused):
    """A colleague cannot be posted, or not be let go, like that."""

    slug = "staff-refused"
    title = "Check the colleague"


@write
def hire(*, actor: Actor, station_id: int, facts: StaffFacts, now: datetime) -> Posting:
    """Post a colleague to a station from today on.

    Raises:
        UnableToHire: no such role, no usable name or password, or they have that role already.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    station = Station.objects.get(pk=station_id)
    if facts.role not in {role.value for role in Role}:
        raise UnableToHire.at("role", "Choose a role.")
    user = User.objects.filter(username=facts.username).first() or _sign_up(facts)
    today = station.local(now).date()
    if Posting.objects.on(today).filter(user=user, station=station, role=facts.role).exists():
        raise UnableToHire.at("username", f"{user.shown_name} is {facts.role} here already.")
    posting = Posting.objects.create(user=user, station=station, role=facts.role, since=today)
    line = journal.Line("station", station_id, f"{user.shown_name} is {facts.role} from today")
    journal.record(actor=actor, act=Act.SET_STATION, station_id=station_id, lines=[line], now=now)
    return posting


@write
def end_posting(*, actor: Actor, posting_id: int, now: datetime) -> None:
    """End a colleague's role at a station today; what they wrote stays.

    Raises:
        NotVisible: there is no such posting at the actor's stations.
        UnableToHire: nobody would be left to manage the station.
    """
    posting = (
        Posting.objects.filter(station_id__in=actor.station_ids, pk=posting_id)
        .select_related("user", "station")
        .first()
    )
    if posting is None:
        raise NotVisible("There is no such colleague here.")
    actor.require(Act.SET_STATION, station_id=posting.station_id)
    today = posting.station.local(now).date()
    others = (
        Posting.objects.on(today).filter(station=posting.station, role=Role.MANAGER).exclude(pk=posting.pk)
    )
    if posting.role == Role.MANAGER and not others.exists():
        raise UnableToHire("Somebody must manage the station. Post another manager first.")
    if posting.since < today:
        posting.until = today
        posting.save(update_fields=["until"])
    else:
        posting.delete()
    line = journal.Line("station", posting.station_id, f"{posting.user.shown_name} is {posting.role} no more")
    journal.record(actor=actor, act=Act.SET_STATION, station_id=posting.station_id, lines=[line], now=now)


@write
def found_station(*, actor: Actor, facts: stations.StationFacts, now: datetime) -> Station:
    """Begin a station, with whoever founds it as its manager.

    Raises:
        UnableToSetStation: a fact that cannot be, with its field.
    """
    actor.require_system(System.FOUND)
    station = stations.keep_station(Station(), facts)
    if actor.user_id is not None:
        today = station.local(now).date()
        Posting.objects.create(user_id=actor.user_id, station=station, role=Role.MANAGER, since=today)
    line = journal.Line("station", station.pk, f"{station} begins")
    journal.record(actor=actor, act=System.FOUND, station_id=station.pk, lines=[line], now=now)
    return station


def _sign_up(facts: StaffFacts) -> User:
    """Let somebody new sign in."""
    user = User(username=facts.username, first_name=facts.first_name, last_name=facts.last_name)
    try:
        user.clean_fields(exclude=["password"])
        validate_password(facts.password, user)
    except ValidationError as error:
        wrong = (
            {name: said[0] for name, said in error.message_dict.items()}
            if hasattr(error, "error_dict")
            else {"password": error.messages[0]}
        )
        raise UnableToHire(next(iter(wrong.values())), fields=wrong) from error
    user.set_password(facts.password)
    user.save()
    return user
