"""Pages on the beach: the log, the launch check, and the taps that let a rider go or note them ashore."""

from datetime import datetime

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from rentals.afloat import queries, services
from rentals.afloat.forms import BeachForm, LaunchForm
from rentals.afloat.mapping import Beach
from rentals.afloat.models import LaunchCheck
from rentals.audit import services as journal
from rentals.bookings import queries as bookings
from rentals.bookings.models import Outing
from rentals.lib import clock
from rentals.people.doors import StaffRequest, station_page


@station_page("GET", "POST")
def beach(request: StaffRequest) -> HttpResponse:
    """Log how the beach stands."""
    now = clock.now()
    before = queries.beach_now(request.station, now=now)
    form = BeachForm(request.POST or None, initial=_as_before(before))
    if request.method == "POST" and form.is_valid():
        try:
            services.log_beach(
                actor=request.actor, station_id=request.station.pk, entry=form.entry(), now=now
            )
        except services.UnableToLogBeach as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Logged.")
            return redirect("today", request.station.slug)
    context = {"station": request.station, "page": "today", "form": form, "beach": before}
    return render(request, "afloat/beach.html", context, status=422 if form.errors else 200)


@station_page("GET", "POST")
def check(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Go through the launch check of an outing; when it passes, let the rider go."""
    now = clock.now()
    outing = bookings.outing_for(request.actor, request.station, outing_id)
    done = journal.done_before(request.actor, request.POST.get("once", ""))
    if done and LaunchCheck.objects.filter(pk=done, passed=True).exists():
        return redirect("today", request.station.slug)
    sheet = queries.launch_sheet(outing, ticked=None, now=now)
    form = LaunchForm(sheet.points, sheet.shut, request.POST or None, initial={"kit_no": outing.kit_no})
    failed = None
    if request.method == "POST" and form.is_valid():
        logged = _log_check(request, outing, form, now)
        if logged.passed:
            gone = "is afloat" if "launch" in request.POST else "is cleared"
            messages.success(request, f"{outing.rider} {gone}.")
            return redirect("today", request.station.slug)
        failed = logged
        form = LaunchForm(sheet.points, sheet.shut, _without_key(request))
    context = {
        "station": request.station,
        "page": "today",
        "outing": outing,
        "sheet": sheet,
        "issued": sheet.issued,
        "form": form,
        "failed": failed,
        "unticked": sum(not point["passed"] for point in failed.points) if failed else 0,
    }
    return render(request, "afloat/check.html", context, status=422 if failed or form.errors else 200)


@station_page("POST")
def launch(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Let a cleared rider go."""
    outing = services.launch(actor=request.actor, outing_id=outing_id, now=clock.now())
    messages.success(request, f"{outing.rider} is afloat.")
    return redirect("today", request.station.slug)


@station_page("POST")
def ashore(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Note a rider ashore."""
    outing = services.call_ashore(actor=request.actor, outing_id=outing_id, now=clock.now())
    messages.success(request, f"{outing.rider} is ashore. The kit is still to be taken back.")
    return redirect("today", request.station.slug)


@station_page("POST")
def still_afloat(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Take a mistaken 'ashore' back."""
    outing = services.call_back_afloat(actor=request.actor, outing_id=outing_id, now=clock.now())
    messages.success(request, f"{outing.rider} is still afloat and watched on.")
    return redirect("today", request.station.slug)


def _log_check(request: StaffRequest, outing: Outing, form: LaunchForm, now: datetime) -> LaunchCheck:
    return services.check_launch(
        actor=request.actor,
        outing_id=outing.pk,
        kit_no=form.cleaned_data["kit_no"],
        ticked=form.ticked,
        overrides=form.overrides,
        note=form.cleaned_data["note"],
        launch="launch" in request.POST,
        once=form.cleaned_data["once"],
        now=now,
    )


def _as_before(beach: Beach) -> dict[str, object]:
    if beach.log is None:
        return {}
    log = beach.log
    return {
        "safety_boat_manned": log.safety_boat_manned,
        "instructors": log.instructors,
        "water_c": log.water_c,
    }


def _without_key(request: StaffRequest) -> object:
    """Return what was ticked with a fresh key: the next look is a check of its own."""
    data = request.POST.copy()
    data["once"] = ""
    return data
