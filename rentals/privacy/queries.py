"""What is known of a rider, wherever it stands; and what is kept longer than it should be."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.apps import apps
from django.contrib.sessions.models import Session
from django.db import models
from django.db.models import Max, Q, QuerySet

from rentals.audit.models import Entry, Once, Redaction
from rentals.bookings.models import Booking, Outing, Party
from rentals.bookings.states import DROPPED
from rentals.home.models import Guest, Link, Tally
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.mail.models import Letter
from rentals.people.models import Rider
from rentals.privacy.mapping import BY_KEY

Model = type[models.Model]


def our_models() -> list[Model]:
    """Return every table of ours, those that join two others too."""
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model.__module__.startswith("rentals.") and not model._meta.proxy
    ]


def rider_for(actor: Actor, rider_id: int) -> Rider:
    """Return a rider known at the actor's stations: one query.

    Raises:
        NotVisible: there is none for this actor.
    """
    rider = Rider.objects.visible_to(actor).filter(pk=rider_id).first()
    if rider is None:
        raise NotVisible("There is no such rider here.")
    return rider


@dataclass(frozen=True, slots=True)
class Reach:
    """Rows that are about a rider, by table; `parties` are those whose contact is the rider's own."""

    rider: Rider
    rows: dict[Model, set[Any]]
    bookings: frozenset[int]
    parties: frozenset[int]

    def subjects(self) -> Q:
        """The journal's lines about the rider, their outings and their own bookings."""
        outings = [int(pk) for pk in self.rows.get(Outing, ())]
        return (
            Q(subject_kind="rider", subject_id=self.rider.pk)
            | Q(subject_kind="outing", subject_id__in=outings)
            | Q(subject_kind="booking", subject_id__in=list(self.bookings))
        )


def reach(rider: Rider) -> Reach:
    """Return what is about a rider: rows that point to them, to those rows, and so on; their own parties."""
    rows: defaultdict[Model, set[Any]] = defaultdict(set, {Rider: {rider.pk}})
    _follow(rows)
    booked = _bookings_of(rider, rows)
    own = {booking.pk: booking.party_id for booking in booked if _is_own(rider, booking)}
    rows[Booking] |= own.keys()
    rows[Party] |= set(own.values())
    _follow(rows)
    return Reach(rider, dict(rows), frozenset(own), frozenset(own.values()))


def export_of(rider: Rider) -> dict[str, Any]:
    """Return all that is kept of a rider as plain values, table by table."""
    found = reach(rider)
    tables: dict[str, list[dict[str, Any]]] = {}
    for model, keys in sorted(found.rows.items(), key=lambda pair: pair[0]._meta.db_table):
        if keys:
            tables[model._meta.db_table] = list(
                model._base_manager.filter(pk__in=keys).order_by("pk").values()
            )
    told = Entry.objects.filter(found.subjects()).order_by("id").values("at", "act", "text", "data")
    tables["journal"] = [dict(line) for line in told]
    letters = Letter.objects.filter(about__in=[f"booking:{pk}" for pk in found.bookings]).order_by("id")
    shown = letters.values("to", "subject", "body", "written_at", "sent_at", "error")
    tables["letters"] = [dict(letter) for letter in shown]
    return {"rider": rider.pk, "station": rider.station_id, "tables": tables}


def _follow(rows: defaultdict[Model, set[Any]]) -> None:
    """Add rows that point to rows known, until there are no more."""
    pointing = [(model, field) for model in our_models() for field in _telling(model)]
    grown = True
    while grown:
        grown = False
        for model, field in pointing:
            known = rows.get(field.related_model)
            if known:
                about = model._base_manager.filter(**{f"{field.name}__in": known})
                more = set(about.values_list("pk", flat=True)) - rows[model]
                rows[model] |= more
                grown |= bool(more)


def _telling(model: Model) -> list[Any]:
    """The columns that say whom a row is about: its rider, else its outing, else whatever it points to."""
    keys = [field for field in model._meta.concrete_fields if isinstance(field, models.ForeignKey)]
    for whom in (Rider, Outing):
        sure = [field for field in keys if field.related_model is whom]
        if sure:
            return sure
    return keys


def _bookings_of(rider: Rider, rows: dict[Model, set[Any]]) -> QuerySet[Booking]:
    outings = Outing.objects.filter(pk__in=rows.get(Outing, ())).values("booking")
    guests = Guest.objects.filter(riders=rider).values("booking")
    return Booking.objects.filter(Q(pk__in=outings) | Q(pk__in=guests)).select_related("party")


def _is_own(rider: Rider, booking: Booking) -> bool:
    """Whether a booking's contact is the rider, their guardian, or nobody else than the rider came."""
    contact = booking.party.contact_name.casefold()
    if contact in {rider.name.casefold(), rider.guardian_name.casefold()} - {""}:
        return True
    others = Outing.objects.filter(booking=booking).exclude(rider=rider)
    waiting = Guest.objects.filter(booking=booking).exclude(riders=None).exclude(riders=rider)
    return not (others.exists() or waiting.exists())


def text_fields(model: Model) -> Iterator["models.Field[Any, Any]"]:
    """Yield the columns of a table in which anybody may have written a name."""
    for field in model._meta.concrete_fields:
        if isinstance(field, (models.CharField, models.TextField, models.JSONField)) and not field.choices:
            yield field


def overdue(key: str, now: datetime) -> QuerySet[Any]:
    """Return rows of one kind that are kept longer than the table of `mapping` says."""
    age = BY_KEY[key].age
    return DUE[key](now if age is None else now - age)


def counts(now: datetime) -> dict[str, int]:
    """Return how many rows of each kind are due: one query each. Nothing is changed."""
    return {key: overdue(key, now).count() for key, keep in BY_KEY.items() if keep.age is not None}


def erased() -> QuerySet[Any]:
    """Return the ids of riders who were erased."""
    return Redaction.objects.filter(subject_kind="rider").values("subject_id")


def _never_came(before: datetime) -> QuerySet[Rider]:
    came = Outing.objects.exclude(state__in=DROPPED).values("rider")
    asked = Guest.objects.filter(ends_at__lt=before).values("riders")
    later = Guest.objects.filter(ends_at__gte=before).values("riders")
    riders = Rider.objects.filter(pk__in=asked).exclude(pk__in=came).exclude(pk__in=later)
    return riders.exclude(pk__in=erased())


def _not_seen(before: datetime) -> QuerySet[Rider]:
    last = (
        Outing.objects.values("rider").annotate(last=Max("ends_at")).filter(last__lt=before).values("rider")
    )
    return Rider.objects.filter(pk__in=last).exclude(pk__in=erased())


DUE: Final[Mapping[str, Callable[[datetime], QuerySet[Any]]]] = {
    "tallies": lambda before: Tally.objects.filter(since__lt=before),
    "sessions": lambda before: Session.objects.filter(expire_date__lt=before),
    "marks": lambda before: Once.objects.filter(at__lt=before),
    "links": lambda before: Link.objects.filter(guest__ends_at__lt=before),
    "letters": lambda before: Letter.objects.filter(written_at__lt=before).exclude(body=""),
    "asked": _never_came,
    "riders": _not_seen,
}
"""Rows of each kind older than a moment."""
