"""Pages of riders: who is known here, and what is known of each."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from rentals.lib import clock
from rentals.people import queries, services
from rentals.people.doors import StaffRequest, station_page
from rentals.people.forms import RiderForm
from rentals.people.models import Rider


@station_page("GET")
def riders(request: StaffRequest) -> HttpResponse:
    """List riders, found by part of their name."""
    named = request.GET.get("q", "").strip()
    found = queries.riders_at(request.actor, request.station, named=named)
    context = {"station": request.station, "page": "riders", "riders": found, "named": named}
    return render(request, "people/riders.html", context)


@station_page("GET", "POST")
def rider(request: StaffRequest, rider_id: int) -> HttpResponse:
    """Show one rider and change them."""
    known = Rider.objects.visible_to(request.actor).filter(station=request.station, pk=rider_id).first()
    if known is None:
        raise Http404
    form = RiderForm.of(known, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.change_rider(actor=request.actor, rider_id=known.pk, facts=form.facts(), now=clock.now())
        except services.UnableToKeepRider as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"Saved {form.cleaned_data['name']}.")
            return redirect("rider", request.station.slug, known.pk)
    context = {"station": request.station, "page": "riders", "rider": known, "form": form}
    return render(request, "people/rider.html", context, status=422 if form.errors else 200)
