"""Promising outings to a party, and moving each outing along its states."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import IntegrityError
from django.utils.translation import gettext as _

from rentals.audit import services as journal
from rentals.bookings.models import LONGEST_OUTING, Booking, KitPart, Outing, Party
from rentals.bookings.states import DROPPED, MOVES, NOT_YET_AFLOAT, OutingEvent, OutingState
from rentals.fleet import services as fleet
from rentals.fleet.models import RIG_PARTS, Kind
from rentals.fleet.states import ItemEvent
from rentals.lib.access import Act, Actor, System
from rentals.lib.moves import shift
from rentals.lib.problems import Conflict, NotVisible, Refused
from rentals.lib.when import is_aware
from rentals.lib.writes import inside_write, savepoint, write
from rentals.people import services as people
from rentals.people.models import Rider
from rentals.stations.models import Station

MOST_RIDERS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """Who speaks for a party."""

    name: str
    phone: str = ""
    email: str = ""


class UnableToBook(Refused):
    """A booking does not hold together; fields say where."""

    slug = "booking-refused"
    title = "Check the booking"


class RiderAlreadyOut(Conflict):
    """A rider has another outing at that time."""

    slug = "rider-booked-twice"
    title = "That rider is booked already"


class UnableToMoveOuting(Conflict):
    """The outing is not in a state from which this can be done."""

    slug = "outing-state"
    title = "The outing has moved on"


@write
def book_party(
    *,
    actor: Actor,
    station_id: int,
    contact: Contact,
    kind: str,
    starts_at: datetime,
    ends_at: datetime,
    riders: Sequence[people.RiderFacts | int],
    note: str = "",
    once: UUID | None = None,
    now: datetime,
) -> Booking:
    """Promise a party its outings, one per rider.

    Args:
        actor: who books.
        station_id: where.
        contact: who speaks for the party; a phone number or an address is needed.
        kind: rental or lesson.
        starts_at, ends_at: aware; within one opening day of the station.
        riders: facts of new riders, or ids of riders known here.
        note: for the desk.
        once: the form's or request's own key; the same key again returns the same booking.
        now: the moment.

    Raises:
        UnableToBook: times, contact or riders that cannot be; `riders.N.field` names a rider's field.
        RiderAlreadyOut: one of them is booked for that time.
    """
    actor.require(Act.BOOK, station_id=station_id)
    asked = [asdict(contact), kind, starts_at, ends_at, note]
    asked += [each if isinstance(each, int) else asdict(each) for each in riders]
    claim = journal.claim(actor=actor, act=Act.BOOK, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Booking.objects.get(pk=claim.result_id)
    booking, _outings = promise(
        actor=actor,
        act=Act.BOOK,
        station=Station.objects.get(pk=station_id),
        contact=contact,
        kind=kind,
        spans=[(starts_at, ends_at)],
        riders=riders,
        note=note,
        now=now,
    )
    journal.settle(claim, booking.pk)
    return booking


@inside_write
def promise(
    *,
    actor: Actor,
    act: Act | System,
    station: Station,
    contact: Contact,
    kind: str,
    spans: Sequence[tuple[datetime, datetime]],
    riders: Sequence[people.RiderFacts | int],
    note: str = "",
    despite: str = "",
    now: datetime,
) -> tuple[Booking, list[Outing]]:
    """Promise a party its outings, one for each rider and span, as part of a write that has asked who may.

    `despite` is why it was booked although the day's promise did not hold. Bookings of a station are
    written one after another, so that two who were promised the last rig cannot both have it.

    Returns:
        The booking, and its outings: all riders' of the first span, then of the next.

    Raises:
        UnableToBook, RiderAlreadyOut: as `book_party`.
    """
    one_at_a_time(station)
    for starts_at, ends_at in spans:
        _check_span(station, starts_at, ends_at, now)
    booking, met = keep_party(
        actor=actor,
        station=station,
        contact=contact,
        kind=kind,
        riders=riders,
        note=note,
        despite=despite,
        now=now,
    )
    outings = promise_outings(actor=actor, act=act, booking=booking, riders=met, spans=spans, now=now)
    return booking, outings


@inside_write
def keep_party(
    *,
    actor: Actor,
    station: Station,
    contact: Contact,
    kind: str,
    riders: Sequence[people.RiderFacts | int],
    note: str = "",
    despite: str = "",
    now: datetime,
) -> tuple[Booking, list[Rider]]:
    """Keep a party, its booking and its riders, who are not promised any time yet.

    Raises:
        UnableToBook: contact or riders that cannot be; `riders.N.field` names a rider's field.
    """
    _check_contact(contact, kind, len(riders))
    party = Party.objects.create(
        station=station, contact_name=contact.name, contact_phone=contact.phone, contact_email=contact.email
    )
    booking = Booking.objects.create(
        party=party, kind=kind, booked_at=now, booked_by_id=actor.user_id, note=note.strip(), despite=despite
    )
    return booking, [_meet(actor, station.pk, number, each, now) for number, each in enumerate(riders)]


@inside_write
def promise_outings(
    *,
    actor: Actor,
    act: Act | System,
    booking: Booking,
    riders: Sequence[Rider],
    spans: Sequence[tuple[datetime, datetime]],
    now: datetime,
) -> list[Outing]:
    """Promise each rider of a booking an outing in each span.

    Raises:
        UnableToBook: a time that cannot be.
        RiderAlreadyOut: one of them is booked for that time.
    """
    station = booking.party.station
    one_at_a_time(station)
    for starts_at, ends_at in spans:
        _check_span(station, starts_at, ends_at, now)
    outings = [
        keep(Outing(station=station, booking=booking, rider=rider, starts_at=start, ends_at=end))
        for start, end in spans
        for rider in riders
    ]
    lines = [
        journal.Line("outing", outing.pk, f"Booked {outing.rider} for {_span(outing)}") for outing in outings
    ]
    times, who = ", ".join(dict.fromkeys(map(_span, outings))), booking.party.contact_name
    text = f"Booked {len(outings)} for {who}, {times}"
    text += f", although: {booking.despite}" if booking.despite else ""
    lines.append(journal.Line("booking", booking.pk, text))
    journal.record(actor=actor, act=act, station_id=station.pk, lines=lines, now=now)
    return outings


@inside_write
def one_at_a_time(station: Station) -> None:
    """Let nobody else book at a station until this write is done; readers and other writes go on."""
    Station.objects.locked(station.pk)


@inside_write
def retime(
    *,
    actor: Actor,
    act: Act | System,
    outings: Sequence[Outing],
    starts_at: datetime,
    ends_at: datetime,
    why: str,
    now: datetime,
) -> None:
    """Move outings of one station to another time; kit that was chosen for the old one is free again.

    Raises:
        UnableToBook: a time that cannot be.
        UnableToMoveOuting: one of them is afloat or over, or its kit is with the rider.
        RiderAlreadyOut: a rider has another outing then.
    """
    if not outings:
        return
    one_at_a_time(outings[0].station)
    _check_span(outings[0].station, starts_at, ends_at, now)
    for outing in outings:
        if OutingState(outing.state) not in NOT_YET_AFLOAT:
            raise UnableToMoveOuting(f"{outing.rider} is {outing.state.replace('_', ' ')}; reload the page.")
        if KitPart.objects.filter(outing=outing).with_rider().exists():
            raise UnableToMoveOuting(f"{outing.rider} has the kit. Take it back first.")
        drop_kit(outing=outing, now=now)
        if outing.state != OutingState.BOOKED:
            move_outing(outing, OutingEvent.UNKIT)
        outing.starts_at, outing.ends_at = starts_at, ends_at
        keep(outing)
    day = f"{outings[0].station.local(starts_at):%a %-d %b}"
    lines = [
        journal.Line("outing", outing.pk, f"Moved to {day}, {_span(outing)}: {why}") for outing in outings
    ]
    journal.record(actor=actor, act=act, station_id=outings[0].station_id, lines=lines, now=now)


@write
def issue_kit(*, actor: Actor, outing_id: int, kit_no: int, now: datetime) -> Outing:
    """Hand an outing's kit to its rider: its items are issued and its rig stands built.

    Handing the same kit over twice changes nothing.

    Raises:
        UnableToMoveOuting: no kit is chosen, or it was swapped meanwhile.
        UnableToMove: an item is held back, on the bench, withdrawn, or still with somebody else.
    """
    return hand_over(actor, outing_id, kit_no, now)


@inside_write
def hand_over(actor: Actor, outing_id: int, kit_no: int, now: datetime) -> Outing:
    """Hand a kit over as part of a write, as `issue_kit` does."""
    outing = visible_outing(actor, outing_id)
    actor.require(Act.ISSUE, station_id=outing.station_id)
    if outing.kit_no != kit_no or outing.state not in (OutingState.KITTED, OutingState.CLEARED):
        raise UnableToMoveOuting(
            f"{outing.rider}'s kit was swapped meanwhile, or none is chosen. Reload the page."
        )
    parts = list(KitPart.objects.filter(outing=outing).to_issue().select_related("item"))
    if not parts:
        return outing
    _refuse_what_is_promised_before(outing, parts, now)
    fleet.move_items(
        actor=actor,
        act=Act.ISSUE,
        items=[part.item for part in parts],
        event=ItemEvent.ISSUE,
        text=f"Issued to {outing.rider}",
        now=now,
    )
    KitPart.objects.filter(pk__in=[part.pk for part in parts]).update(issued_at=now)
    by_part = {Kind(part.part): part.item_id for part in parts}
    if by_part.keys() >= set(RIG_PARTS):
        fleet.build_rig(actor=actor, act=Act.ISSUE, station_id=outing.station_id, parts=by_part, now=now)
    line = journal.Line("outing", outing.pk, f"Issued {len(parts)} items to {outing.rider}")
    journal.record(actor=actor, act=Act.ISSUE, station_id=outing.station_id, lines=[line], now=now)
    return outing


@inside_write
def call_off(
    *, actor: Actor, act: Act | System, outing: Outing, event: OutingEvent, reason: str, now: datetime
) -> None:
    """Call an outing off; its kit is free again.

    Raises:
        UnableToMoveOuting: it is afloat, ashore or over; or its kit is still with the rider.
    """
    if KitPart.objects.filter(outing=outing).with_rider().exists():
        raise UnableToMoveOuting("The kit is with the rider. Take it back first.")
    move_outing(outing, event)
    drop_kit(outing=outing, now=now)
    text = f"{'Did not come' if event == OutingEvent.MISS else 'Cancelled'}: {reason.strip()}"
    line = journal.Line("outing", outing.pk, text)
    journal.record(actor=actor, act=act, station_id=outing.station_id, lines=[line], now=now)


def _refuse_what_is_promised_before(outing: Outing, parts: Sequence[KitPart], now: datetime) -> None:
    """Refuse to hand out early what an outing before this one is promised."""
    earlier = (
        KitPart.objects.filter(item__in=[part.item_id for part in parts])
        .promised_before(outing, now)
        .select_related("item", "outing__rider")
    )
    if earlier:
        said = ", ".join(
            f"{part.item.tag} ({part.outing.rider}, {outing.station.local(part.outing.starts_at):%H:%M})"
            for part in earlier
        )
        raise UnableToMoveOuting(f"Others come first with it: {said}. Issue later, or choose other kit.")


def visible_outing(actor: Actor, outing_id: int) -> Outing:
    """Return an outing the actor may see, locked for a write where the database can.

    Its key is not locked: whoever holds the till may still write rows that point at the outing, while its
    holder waits for the till.

    Raises:
        NotVisible: there is none for this actor.
    """
    outing = (
        Outing.objects.visible_to(actor)
        .select_related("station", "rider", "booking__party")
        .select_for_update(of=("self",), no_key=True)
        .filter(pk=outing_id)
        .first()
    )
    if outing is None:
        raise NotVisible("There is no such outing here.")
    return outing


@inside_write
def move_outing(outing: Outing, event: OutingEvent, **values: Any) -> None:
    """Move an outing by an event and set what comes with it, unless somebody moved it meanwhile.

    Raises:
        UnableToMoveOuting: the table has no such move, or another desk was quicker.
    """
    source = OutingState(outing.state)
    target = MOVES.get((source, event))
    if target is None:
        raise UnableToMoveOuting(
            f"The outing is {source.replace('_', ' ')}; you cannot {event} it now. Reload the page."
        )
    if not shift(outing, target, **values):
        raise UnableToMoveOuting("A colleague moved this outing meanwhile. Reload the page.")


@inside_write
def put_kit(*, outing: Outing, items: Mapping[Kind, int], now: datetime) -> None:
    """Hold a whole kit for an outing in place of what it had, turn-round included.

    Raises:
        UnableToHold: an item is taken in that span.
        UnableToMoveOuting: the outing is past kitting, or part of the old kit is with the rider.
    """
    if KitPart.objects.filter(outing=outing).with_rider().exists():
        raise UnableToMoveOuting("The kit is with the rider. Take it back before you choose another.")
    move_outing(outing, OutingEvent.KIT, kit_no=outing.kit_no + 1)
    drop_kit(outing=outing, now=now)
    turn_round = timedelta(minutes=outing.station.turn_round_min)
    holds = fleet.take_holds(
        item_ids=items.values(),
        starts_at=outing.starts_at,
        ends_at=outing.ends_at + turn_round,
        purpose=f"outing {outing.pk}",
    )
    KitPart.objects.bulk_create(
        KitPart(outing=outing, item_id=item_id, hold=holds[item_id], part=part)
        for part, item_id in items.items()
    )


@inside_write
def drop_kit(*, outing: Outing, now: datetime) -> None:
    """Let an outing's kit go that was not issued."""
    parts = KitPart.objects.filter(outing=outing).to_issue()
    fleet.end_holds(hold_ids=list(parts.values_list("hold_id", flat=True)))
    parts.update(dropped_at=now)


def _span(outing: Outing) -> str:
    """An outing's time as the journal has it."""
    local = outing.station.local
    return f"{local(outing.starts_at):%H:%M}–{local(outing.ends_at):%H:%M}"


def _check_span(station: Station, start: datetime, end: datetime, now: datetime) -> None:
    if not (is_aware(start) and is_aware(end)):
        raise UnableToBook.at("starts_at", "Enter times with their zone, such as 2027-03-09T14:00+01:00.")
    # Within one zone Python compares and subtracts what the clock shows, wrong where it changes.
    start, end = start.astimezone(UTC), end.astimezone(UTC)
    if end <= start:
        raise UnableToBook.at("ends_at", "Enter an end after the start.")
    if end - start > LONGEST_OUTING:
        raise UnableToBook.at("ends_at", "Enter at most twelve hours; book another day separately.")
    if end <= now:
        raise UnableToBook.at("ends_at", _("That is over already. Enter a time to come."))
    first, last = station.local(start), station.local(end)
    if first.time() < station.opens or last.time() > station.closes or first.date() != last.date():
        said = _("%(station)s is open %(opens)s to %(closes)s. Enter times within.")
        hours = {"opens": f"{station.opens:%H:%M}", "closes": f"{station.closes:%H:%M}"}
        raise UnableToBook.at("starts_at", said % {"station": station.name, **hours})


def _check_contact(contact: Contact, kind: str, riders: int) -> None:
    if kind not in Booking.Kind.values:
        raise UnableToBook.at("kind", "Choose rental or lesson.")
    if not contact.name.strip():
        raise UnableToBook.at("contact_name", "Enter who speaks for the party.")
    if not (contact.phone.strip() or contact.email.strip()):
        raise UnableToBook.at(
            "contact_phone", "Enter a phone number or an address, so that you can reach them."
        )
    if not 1 <= riders <= MOST_RIDERS:
        raise UnableToBook.at("riders", f"Enter 1 to {MOST_RIDERS} riders.")


def _meet(actor: Actor, station_id: int, number: int, each: people.RiderFacts | int, now: datetime) -> Rider:
    """Return a known rider, or keep a new one."""
    if isinstance(each, int):
        rider = Rider.objects.visible_to(actor).filter(station_id=station_id, pk=each).first()
        if rider is None:
            raise UnableToBook.at(f"riders.{number}.rider", "Choose a rider known here.")
        return rider
    try:
        return people.keep_rider(station_id=station_id, facts=each, now=now)
    except people.UnableToKeepRider as refused:
        fields = {f"riders.{number}.{name}": said for name, said in refused.fields.items()}
        raise UnableToBook(refused.sentence, fields=fields) from refused


@inside_write
def keep(outing: Outing) -> Outing:
    """Write an outing; the database refuses a rider two at once, whoever is quicker.

    A twin within the span is looked for first only to say it by name.
    """
    twin = (
        Outing.objects.filter(rider=outing.rider, starts_at__lt=outing.ends_at, ends_at__gt=outing.starts_at)
        .exclude(state__in=DROPPED)
        .exclude(pk=outing.pk)
        .first()
    )
    said = _("%(rider)s has another outing at that time. Choose another time or rider.")
    sentence = said % {"rider": outing.rider}
    if twin is not None:
        span = f"{outing.station.local(twin.starts_at):%H:%M}–{outing.station.local(twin.ends_at):%H:%M}"
        said = _("%(rider)s is booked %(span)s already. Choose another time or rider.")
        sentence = said % {"rider": outing.rider, "span": span}
    if twin is not None:
        raise RiderAlreadyOut(sentence)
    try:
        with savepoint():
            outing.save()
    except IntegrityError as error:
        raise RiderAlreadyOut(sentence) from error
    return outing
