"""The page of an errand: how far it is, calling it off, and where to go on."""

from typing import Final

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from rentals.errands import queries, services
from rentals.errands.models import ErrandKind
from rentals.lib import clock
from rentals.people.doors import StaffRequest, may, station_page

ONWARD: Final = {
    ErrandKind.TAKE_SHED: ("shed", "kit", "Look at the shed"),
    ErrandKind.GIVE_ENTRIES: ("takings", "takings", "Back to the takings"),
    ErrandKind.LOAD_DEMO: ("first-steps", "today", "Open the day"),
    ErrandKind.REMOVE_DEMO: ("first-steps", "first-steps", "First steps"),
}
"""Where each kind is asked for, where one goes on when it is done, and what that link says."""


@station_page("GET")
def errand(request: StaffRequest, errand_id: int) -> HttpResponse:
    """Show how far an errand is."""
    shown = queries.errand_for(request.actor, request.station, errand_id)
    kind = ErrandKind(shown.kind)
    request.actor.require(kind.act, station_id=request.station.pk)
    back, onward, word = ONWARD[kind]
    context = {
        "station": request.station,
        "page": "station",
        "errand": shown,
        "file": isinstance(shown.result, dict) and "csv" in shown.result,
        "back": reverse(back, args=[request.station.slug]),
        "onward": reverse(onward, args=[request.station.slug]),
        "word": word,
        "may_call_off": may(request, kind.act),
    }
    return render(request, "errands/errand.html", context)


@station_page("POST")
def call_off(request: StaffRequest, errand_id: int) -> HttpResponse:
    """Call an errand off."""
    services.call_off(actor=request.actor, errand_id=errand_id, now=clock.now())
    return redirect("errand", request.station.slug, errand_id)
