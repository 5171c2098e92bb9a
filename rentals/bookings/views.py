"""Calling an outing off."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect

from rentals.bookings import services
from rentals.lib import clock
from rentals.people.doors import StaffRequest, station_page


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
