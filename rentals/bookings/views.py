"""The booking page: a party, a time and its riders in one form; and calling an outing off."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from rentals.bookings import services
from rentals.bookings.forms import BookingForm, RiderRows, initial
from rentals.lib import clock
from rentals.lib.problems import Conflict, Refused
from rentals.people import queries as people
from rentals.people.doors import StaffRequest, station_page


@station_page("GET", "POST")
def book(request: StaffRequest) -> HttpResponse:
    """Book a party."""
    more = "more" in request.POST
    form = BookingForm(request.POST or None, initial=initial(request.station.local(clock.now())))
    rows = RiderRows(request.POST or None, more=more)
    if request.method == "POST" and not more and _keep(request, form, rows):
        return redirect("today", request.station.slug)
    wrong = rows.bound and bool(form.errors or rows.errors)
    context = {
        "station": request.station,
        "page": "today",
        "form": form,
        "rows": rows,
        "wrong": wrong,
        "known": people.rider_choices(request.actor, request.station),
    }
    return render(request, "bookings/book.html", context, status=422 if wrong else 200)


@station_page("POST")
def cancel(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Call an outing off, or note that the rider never came."""
    outing = services.cancel_outing(
        actor=request.actor,
        outing_id=outing_id,
        missed="missed" in request.POST,
        reason=request.POST.get("reason", ""),
        now=clock.now(),
    )
    messages.success(request, f"{outing.rider}: {outing.get_state_display().replace('_', ' ')}.")
    return redirect("today", request.station.slug)


def _keep(request: StaffRequest, form: BookingForm, rows: RiderRows) -> bool:
    """Book when everything holds together; otherwise say beside each field why not."""
    whole, rows_whole = form.is_valid(), rows.is_valid()
    span = form.span(request.station.zone) if whole else None
    if not (span and rows_whole):
        return False
    riders = rows.riders()
    try:
        services.book_party(
            actor=request.actor,
            station_id=request.station.pk,
            contact=form.contact(),
            kind=form.cleaned_data["kind"],
            starts_at=span[0],
            ends_at=span[1],
            riders=riders,
            note=form.cleaned_data["note"],
            once=form.cleaned_data["once"],
            now=clock.now(),
        )
    except (services.UnableToBook, Conflict) as refused:
        _refuse(form, rows, refused)
        return False
    messages.success(request, f"Booked {len(riders)} for {form.cleaned_data['contact_name']}.")
    return True


def _refuse(form: BookingForm, rows: RiderRows, refused: Refused) -> None:
    if not rows.refuse(refused):
        form.refuse(refused)
