"""Pages of people: riders and what is known of each; the station, its limits and who works there."""

from dataclasses import asdict
from datetime import timedelta
from typing import Final, cast

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from rentals.lib import clock, show
from rentals.lib.access import Act, System
from rentals.lib.forms import PlainForm
from rentals.lib.live import found
from rentals.people import queries, services
from rentals.people.doors import StaffRequest, may, station_page
from rentals.people.forms import LimitsForm, MedicalForm, RiderForm, StaffForm, StationForm, UnitsForm
from rentals.people.models import Rider
from rentals.stations import services as stations
from rentals.stations.queries import wind_limits

UNITS_KEPT: Final = timedelta(days=365)
FRESH_STATION: Final = {"opens": "09:00", "closes": "18:00", "turn_round_min": 15, "salt_water": True}


@station_page("GET")
def riders(request: StaffRequest) -> HttpResponse:
    """List riders, found by part of their name."""
    named = request.GET.get("q", "").strip()
    known = queries.riders_at(request.actor, request.station, named=named)
    context = {"station": request.station, "page": "riders", "riders": known, "named": named}
    return found(request, "people/riders.html", "people/parts/riders_found.html", context)


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
    medical = MedicalForm.of(known)
    context = {"station": request.station, "page": "riders", "rider": known, "form": form, "medical": medical}
    return render(request, "people/rider.html", context, status=422 if form.errors else 200)


@station_page("GET", "POST")
def station(request: StaffRequest) -> HttpResponse:
    """Show the station; change where it lies and when it is open."""
    form = StationForm.of(request.station, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            stations.change_station(
                actor=request.actor, station_id=request.station.pk, facts=form.facts(), now=clock.now()
            )
        except stations.UnableToSetStation as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Saved.")
            return redirect("station", request.station.slug)
    return _station_page(request, form=form)


@station_page("POST")
def limits(request: StaffRequest) -> HttpResponse:
    """Change the wind limits of the levels."""
    form = _limits_form(request, request.POST)
    if form.is_valid():
        stations.set_wind_limits(
            actor=request.actor, station_id=request.station.pk, limits=form.limits(), now=clock.now()
        )
        messages.success(request, "Wind limits saved. Checks and advice follow them from now on.")
        return redirect("station", request.station.slug)
    return _station_page(request, limits=form)


@station_page("POST")
def hire(request: StaffRequest) -> HttpResponse:
    """Post a colleague to the station."""
    form = StaffForm(request.POST)
    if form.is_valid():
        try:
            posting = services.hire(
                actor=request.actor, station_id=request.station.pk, facts=form.facts(), now=clock.now()
            )
        except services.UnableToHire as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{posting.user.shown_name} is {posting.role} here from today.")
            return redirect("station", request.station.slug)
    return _station_page(request, staff=form)


@station_page("POST")
def let_go(request: StaffRequest, posting_id: int) -> HttpResponse:
    """End a colleague's role."""
    services.end_posting(actor=request.actor, posting_id=posting_id, now=clock.now())
    messages.success(request, "Ended from today. What they wrote stays.")
    return redirect("station", request.station.slug)


def units(request: HttpRequest) -> HttpResponse:
    """Choose the units to read in; the device keeps them."""
    form = UnitsForm(request.POST or None, initial=asdict(show.used()))
    if request.method == "POST" and form.is_valid():
        messages.success(request, "Winds, masses and statures are shown in your units on this device.")
        answer = redirect("home")
        answer.set_cookie(
            settings.UNITS_COOKIE_NAME,
            show.Units(**form.cleaned_data).written(),
            max_age=UNITS_KEPT,
            secure=settings.SECURE,
            httponly=True,
            samesite="Lax",
        )
        return answer
    return render(request, "people/units.html", {"form": form}, status=422 if form.errors else 200)


def set_up(request: HttpRequest) -> HttpResponse:
    """Begin a station: for whoever runs the service, before anybody is posted anywhere."""
    actor = cast(StaffRequest, request).actor
    if System.FOUND not in actor.acts:
        raise Http404
    form = StationForm(request.POST or None, initial=FRESH_STATION)
    if request.method == "POST" and form.is_valid():
        try:
            begun = services.found_station(actor=actor, facts=form.facts(), now=clock.now())
        except stations.UnableToSetStation as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{begun} begins. You are its manager.")
            return redirect("station", begun.slug)
    return render(request, "people/set_up.html", {"form": form}, status=422 if form.errors else 200)


def _limits_form(request: StaffRequest, data: object = None) -> LimitsForm:
    usual, own = wind_limits(request.station)
    return LimitsForm(usual, own, data)


def _station_page(request: StaffRequest, **bound: PlainForm) -> HttpResponse:
    today = request.station.local(clock.now()).date()
    context = {
        "station": request.station,
        "page": "station",
        "form": bound.get("form") or StationForm.of(request.station),
        "limits": bound.get("limits") or _limits_form(request),
        "staff": bound.get("staff") or StaffForm(),
        "postings": queries.staff_at(request.station, today),
        "may_set": may(request, Act.SET_STATION),
        "wrong": any(form.errors for form in bound.values()),
    }
    return render(request, "people/station.html", context, status=422 if context["wrong"] else 200)


@station_page("POST")
def medical_note(request: StaffRequest, rider_id: int) -> HttpResponse:
    """Keep or remove what helpers should know of a rider."""
    known = Rider.objects.visible_to(request.actor).filter(station=request.station, pk=rider_id).first()
    if known is None:
        raise Http404
    form = MedicalForm.of(known, request.POST)
    if form.is_valid():
        try:
            services.keep_medical_note(
                actor=request.actor, rider_id=known.pk, **form.cleaned_data, now=clock.now()
            )
        except services.UnableToKeepRider as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Saved.")
            return redirect("rider", request.station.slug, known.pk)
    context = {
        "station": request.station,
        "page": "riders",
        "rider": known,
        "form": RiderForm.of(known),
        "medical": form,
    }
    return render(request, "people/rider.html", context, status=422)
