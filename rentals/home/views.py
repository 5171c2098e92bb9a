"""Pages for people at home, open to everybody or behind a secret link; and the staff's page about them."""

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import translation
from django.utils.translation import gettext as _

from rentals.bookings.services import RiderAlreadyOut, UnableToBook, UnableToMoveOuting
from rentals.home import queries, services
from rentals.home.doors import HOME, HomeRequest, address_of, front_page, link_page
from rentals.home.forms import FrontForm, HomeForm, HomeRows, LookForm, TimeForm, known_riders
from rentals.home.mapping import PRIVACY, WAIVER
from rentals.home.models import Front
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.problems import Refused
from rentals.people.doors import StaffRequest, may, station_page

TOO_MANY = 429


@front_page("GET")
def front(request: HomeRequest) -> HttpResponse:
    """Show what a station can serve, to somebody who names a day and the weights of a party."""
    now, at = clock.now(), request.front.station
    asked = request.GET if "day" in request.GET else None
    form = LookForm(request.front, at.local(now).date(), asked)
    found: list[queries.Slot] | None = None
    if asked is not None and form.is_valid():
        if not _counted(request, services.LOOKS):
            return _too_many(request)
        found = queries.slots(
            request.front,
            form.asked_day(),
            hours=int(form.cleaned_data["hours"]),
            half=form.cleaned_data["half"],
            riders=form.riders(),
            now=now,
        )
    context = {
        "front": request.front,
        "at": at,
        "form": form,
        "slots": found,
        "asked": request.GET.urlencode(),
    }
    return render(
        request, "home/front.html", context, status=422 if asked is not None and found is None else 200
    )


@front_page("GET", "POST")
def book(request: HomeRequest) -> HttpResponse:
    """Book from home, or join the waiting list of a time that is taken."""
    today = request.front.station.local(clock.now()).date()
    more = "more" in request.POST
    if request.method == "GET":
        first = {name: request.GET[name] for name in ("day", "starts_at", "hours") if name in request.GET}
        rows = HomeRows(None, today=today, known=known_riders(request.GET))
        return _form(request, HomeForm(initial=first), rows)
    form, rows = HomeForm(request.POST), HomeRows(request.POST, today=today, more=more)
    if more:
        return _form(
            request, HomeForm(initial=request.POST.dict()), HomeRows(request.POST, today=today, more=True)
        )
    if not _counted(request, services.POSTS):
        said = _("Too many tries from here. Wait ten minutes, or call us on %(phone)s.")
        form.add_error(None, said % {"phone": request.front.phone})
        return _form(request, form, rows, status=TOO_MANY)
    return _keep(request, form, rows)


@link_page("GET")
def visit(request: HomeRequest) -> HttpResponse:
    """Show a party its booking, and what it may do."""
    front, now = request.front, clock.now()
    seen = queries.visit(front, request.guest, now=now)
    context = {"front": front, "at": front.station, "visit": seen, "token": request.token}
    return render(request, "home/visit.html", context)


@link_page("GET", "POST")
def move(request: HomeRequest) -> HttpResponse:
    """Move a booking to another time."""
    front, guest, now = request.front, request.guest, clock.now()
    start = front.station.local(guest.starts_at)
    hours = round((guest.ends_at - guest.starts_at) / timedelta(hours=1))
    first = {"day": start.date(), "starts_at": f"{start:%H:%M}", "hours": str(hours)}
    form = TimeForm(request.POST or None, initial=first)
    span = form.span(front.station.zone) if request.method == "POST" and form.is_valid() else None
    if span is not None:
        try:
            services.move_from_home(
                actor=HOME, front=front, guest=guest, starts_at=span[0], ends_at=span[1], now=now
            )
        except (UnableToBook, RiderAlreadyOut, services.UnableToPromise) as refused:
            form.refuse(refused)
        else:
            messages.success(request, _("Your booking is moved. We have written to you."))
            return redirect("visit", front.station.slug, request.token)
    context = {"front": front, "at": front.station, "guest": guest, "form": form, "token": request.token}
    return render(request, "home/move.html", context, status=422 if form.errors else 200)


@link_page("POST")
def leave(request: HomeRequest) -> HttpResponse:
    """Cancel a booking, or leave the waiting list."""
    services.leave(actor=HOME, guest_id=request.guest.pk, now=clock.now())
    messages.success(request, _("It is cancelled. We have written to you."))
    return redirect("visit", request.front.station.slug, request.token)


@link_page("POST")
def take(request: HomeRequest) -> HttpResponse:
    """Take the place that was offered."""
    services.take_offer(actor=HOME, guest_id=request.guest.pk, now=clock.now())
    messages.success(request, _("The place is yours. We have written to you."))
    return redirect("visit", request.front.station.slug, request.token)


@station_page("GET", "POST")
def from_home(request: StaffRequest) -> HttpResponse:
    """Show staff who booked from home, who waits and whose letters came back; a manager sets the rules."""
    known = Front.objects.filter(station=request.station).first()
    form = FrontForm.of(known, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.open_front(
                actor=request.actor, station_id=request.station.pk, facts=form.facts(), now=clock.now()
            )
        except services.UnableToOpen as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Saved.")
            return redirect("from-home", request.station.slug)
    context = {
        "station": request.station,
        "page": "from-home",
        "front": known,
        "form": form,
        "guests": queries.guests_at(request.station, now=clock.now()),
        "may_set": may(request, Act.OPEN_FRONT),
        "may_revoke": may(request, Act.BOOK),
    }
    return render(request, "home/from_home.html", context, status=422 if form.errors else 200)


@station_page("POST")
def revoke(request: StaffRequest, guest_id: int) -> HttpResponse:
    """Withdraw a party's secret links."""
    guest = services.revoke_links(actor=request.actor, guest_id=guest_id, now=clock.now())
    messages.success(request, f"The links of {guest.booking.party.contact_name} open nothing any more.")
    return redirect("from-home", request.station.slug)


def _counted(request: HomeRequest, limit: Any) -> bool:
    return services.count_post(actor=HOME, limit=limit, address=address_of(request), now=clock.now())


def _keep(request: HomeRequest, form: HomeForm, rows: HomeRows) -> HttpResponse:
    """Book or queue when everything holds together; otherwise say why not, and keep what was typed."""
    rows_whole = rows.is_valid()
    asked = None
    if form.is_valid() and rows_whole:
        asked = form.asked(request.front.station.zone, rows, translation.get_language() or "en")
    if asked is None:
        return _form(request, form, rows)
    try:
        if "wait" in request.POST:
            guest = services.join_queue(actor=HOME, front_id=request.front.pk, asked=asked, now=clock.now())
        else:
            guest = services.book_from_home(actor=HOME, front=request.front, asked=asked, now=clock.now())
    except services.UnableToPromise as taken:
        return _form(request, form, rows, taken=taken, status=taken.status)
    except (UnableToBook, RiderAlreadyOut, services.UnableToRepeat, UnableToMoveOuting) as refused:
        if not rows.refuse(refused):
            form.refuse(refused)
        return _form(request, form, rows)
    token = services.open_link(actor=HOME, guest_id=guest.pk, now=clock.now())
    return redirect("visit", request.front.station.slug, token)


def _form(
    request: HomeRequest, form: HomeForm, rows: HomeRows, *, taken: Refused | None = None, status: int = 0
) -> HttpResponse:
    wrong = form.is_bound and bool(form.errors or rows.errors)
    context = {
        "front": request.front,
        "at": request.front.station,
        "form": form,
        "rows": rows,
        "wrong": wrong,
        "taken": taken,
        "waiver": WAIVER,
        "privacy": PRIVACY,
    }
    return render(request, "home/book.html", context, status=status or (422 if wrong else 200))


def _too_many(request: HomeRequest) -> HttpResponse:
    context = {"front": request.front, "at": request.front.station, "too_many": True}
    return render(request, "home/said.html", context, status=TOO_MANY)
