"""Pages of privacy: what is kept how long, and what is done at a rider's request."""

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render

from rentals.home import queries as home
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.people.doors import StaffRequest, may, station_page
from rentals.privacy import queries, services
from rentals.privacy.mapping import KEEPS


@station_page("GET")
def privacy(request: StaffRequest) -> HttpResponse:
    """Show what is kept for how long, and how much of it is due."""
    counts = queries.counts(clock.now())
    rows = [(keep, counts.get(keep.key)) for keep in KEEPS]
    context = {"station": request.station, "page": "privacy", "rows": rows}
    return render(request, "privacy/privacy.html", context)


@station_page("GET")
def rider(request: StaffRequest, rider_id: int) -> HttpResponse:
    """Show what a rider agreed to, and offer export and erasure."""
    known = queries.rider_for(request.actor, rider_id)
    context = {
        "station": request.station,
        "page": "riders",
        "rider": known,
        "signatures": home.signatures_of(known),
        "may_erase": may(request, Act.ERASE),
    }
    return render(request, "privacy/rider.html", context)


@station_page("POST")
def export(request: StaffRequest, rider_id: int) -> HttpResponse:
    """Hand out all that is kept of a rider, as a file."""
    told = services.export_rider(actor=request.actor, rider_id=rider_id, now=clock.now())
    response = JsonResponse(told, json_dumps_params={"indent": 2, "ensure_ascii": False})
    response.headers["Content-Disposition"] = f'attachment; filename="rider-{rider_id}.json"'
    response.headers["Cache-Control"] = "no-store"
    return response


@station_page("POST")
def erase(request: StaffRequest, rider_id: int) -> HttpResponse:
    """Erase a rider."""
    if request.POST.get("sure") != "on":
        messages.error(request, "Nothing is erased. Tick that you are sure, then erase.")
        return redirect("rider-privacy", request.station.slug, rider_id)
    gone = services.erase_rider(actor=request.actor, rider_id=rider_id, now=clock.now())
    messages.success(request, f"{gone.name} is erased: nothing says any more who that was.")
    return redirect("riders", request.station.slug)
