"""The wind page: the day drawn, how the sources stand, and wind taken in by hand or from a file."""

from datetime import date, timedelta

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import mark_safe

from rentals.lib import clock, show
from rentals.lib.access import Act
from rentals.people.doors import StaffRequest, asked_day, may, station_page
from rentals.weather import queries, services
from rentals.weather.forms import FileForm, HandForm, SourceForm
from rentals.weather.models import Kind
from rigging.drawing import wind_day_svg


@station_page("GET", "POST")
def weather(request: StaffRequest) -> HttpResponse:
    """Show the wind of a day and take in more."""
    today = request.station.local(clock.now()).date()
    by_hand = HandForm(_posted(request, "hand"), initial={"day": today}, prefix="hand")
    from_file = FileForm(
        _posted(request, "file"), request.FILES if _posted(request, "file") else None, prefix="file"
    )
    source = SourceForm(_posted(request, "source"), prefix="source")
    if (
        (by_hand.is_bound and _keep_by_hand(request, by_hand))
        or (from_file.is_bound and _keep_file(request, from_file))
        or (source.is_bound and _keep_source(request, source))
    ):
        return redirect("weather", request.station.slug)
    wrong = bool(by_hand.errors or from_file.errors or source.errors)
    context = {
        **_shown(request, asked_day(request, today)),
        "by_hand": by_hand,
        "from_file": from_file,
        "source": source,
        "wrong": wrong,
    }
    return render(request, "weather/weather.html", context, status=422 if wrong else 200)


@station_page("POST")
def stop(request: StaffRequest, source_id: int) -> HttpResponse:
    """Fetch a source no longer."""
    services.stop_source(
        actor=request.actor, station_id=request.station.pk, source_id=source_id, now=clock.now()
    )
    messages.success(request, "That source is no longer fetched.")
    return redirect("weather", request.station.slug)


def _shown(request: StaffRequest, day: date) -> dict[str, object]:
    now = clock.now()
    wind = queries.day_wind(request.station, day, now=now)
    drawn = wind_day_svg(
        wind.hours,
        now,
        wind.start,
        wind.end,
        zone=request.station.zone,
        unit=show.used().wind,
        title=f"Wind of {day:%-d %b %Y}",
    )
    return {
        "station": request.station,
        "page": "weather",
        "wind": wind,
        "latest": queries.latest_observation(request.station, now=now),
        "drawing": mark_safe(drawn),  # noqa: S308 - the core escapes every text in it
        "sources": queries.source_states(request.actor, request.station, now=now),
        "may_set": may(request, Act.SET_STATION),
        "may_enter": may(request, Act.ENTER_WEATHER),
        "day_before": day - timedelta(days=1),
        "day_after": day + timedelta(days=1),
    }


def _keep_source(request: StaffRequest, form: SourceForm) -> bool:
    if not form.is_valid():
        return False
    cleaned = form.cleaned_data
    try:
        services.add_source(
            actor=request.actor,
            station_id=request.station.pk,
            kind=Kind(cleaned["kind"]),
            url=cleaned["url"],
            every_min=int(cleaned["every_min"]),
            height_m=float(cleaned["height_m"]),
            now=clock.now(),
        )
    except services.UnableToTakeWind as refused:
        form.refuse(refused)
        return False
    messages.success(request, "The source is fetched within a minute, and again from then on.")
    return True


def _keep_by_hand(request: StaffRequest, form: HandForm) -> bool:
    if not form.is_valid():
        return False
    hour = form.hour(request.station.zone)
    if hour is None:
        return False
    try:
        services.enter_by_hand(actor=request.actor, station_id=request.station.pk, hour=hour, now=clock.now())
    except services.UnableToTakeWind as refused:
        form.refuse(refused)
        return False
    messages.success(request, "The wind you entered counts from now on.")
    return True


def _keep_file(request: StaffRequest, form: FileForm) -> bool:
    if not form.is_valid():
        return False
    try:
        took = services.take_file(
            actor=request.actor,
            station_id=request.station.pk,
            content=form.cleaned_data["file"],
            unit=form.cleaned_data["unit"],
            height_m=float(form.cleaned_data["height_m"]),
            now=clock.now(),
        )
    except services.UnableToTakeWind as refused:
        form.refuse(refused)
        return False
    messages.success(request, " ".join([f"Took in {took.kept} entries: {took.kind.label}.", *took.notes[:3]]))
    return True


def _posted(request: StaffRequest, which: str) -> object | None:
    return request.POST if request.method == "POST" and request.POST.get("which") == which else None
