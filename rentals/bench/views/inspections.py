"""Pages of inspections: what is due, a rack looked over, one item gone through, what is settled for all."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from rentals.bench import queries, services
from rentals.bench.forms import InspectForm, IntervalForm, RackForm, ReleaseHeldForm, SettingForm
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.problems import Refused
from rentals.people.doors import StaffRequest, may, station_page


@station_page("GET", "POST")
def inspections(request: StaffRequest) -> HttpResponse:
    """Show what is due and what is held back; log a rack that was looked over."""
    found = queries.inspections_at(request.station, today=request.station.local(clock.now()).date())
    kind = request.POST.get("kind", "")
    racks = {
        each: RackForm(rows, request.POST if each == kind else None, prefix=each)
        for each, rows in found.weekly.items()
    }
    asked = racks.get(kind)
    if asked is not None and asked.is_valid() and _look_over(request, asked):
        return redirect("inspections", request.station.slug)
    context = {
        "station": request.station,
        "page": "bench",
        "found": found,
        "racks": racks,
        "wrong": asked,
        "may_inspect": may(request, Act.INSPECT),
        "may_release": services.may_release(request.actor, request.station),
        "may_set": may(request, Act.SET_STATION),
    }
    return render(request, "bench/inspections.html", context, status=422 if asked and asked.errors else 200)


@station_page("GET", "POST")
def inspect(request: StaffRequest, tag: str) -> HttpResponse:
    """Go through one inspection of an item, point by point."""
    today = request.station.local(clock.now()).date()
    life = queries.item_life(request.actor, request.station, tag, today=today)
    due = life.due(request.POST.get("name") or request.GET.get("name", ""))
    form = InspectForm(due, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            record = services.inspect(
                actor=request.actor,
                item_id=life.item.pk,
                name=due.name,
                found=form.found(),
                once=form.cleaned_data["once"],
                now=clock.now(),
            )
        except services.UnableToInspect as refused:
            form.refuse(refused)
        else:
            word = "passed" if record.passed else "failed and is on the bench"
            messages.success(request, f"{life.item.tag} {word}: {due.name}.")
            return redirect("item", request.station.slug, life.item.tag)
    context = {"station": request.station, "page": "kit", "life": life, "due": due, "form": form}
    return render(request, "bench/inspect.html", context, status=422 if form.errors else 200)


@station_page("GET", "POST")
def release_held(request: StaffRequest, hold_back_id: int) -> HttpResponse:
    """Release an item from what holds it back, with a word of what was done."""
    held = queries.held_back(request.actor, request.station, hold_back_id)
    form = ReleaseHeldForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.release_held(
                actor=request.actor,
                hold_back_id=held.pk,
                because=form.cleaned_data["because"],
                now=clock.now(),
            )
        except (services.UnableToInspect, services.StillHeldBack) as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{held.item.tag} is released from that.")
            return redirect("item", request.station.slug, held.item.tag)
    context = {"station": request.station, "page": "bench", "held": held, "form": form}
    return render(request, "bench/release_held.html", context, status=422 if form.errors else 200)


@station_page("GET", "POST")
def intervals(request: StaffRequest) -> HttpResponse:
    """Show the intervals of every kind and model; a manager settles them, the grace and who releases."""
    which = request.POST.get("which", "")
    settled = SettingForm(
        request.POST if which == "setting" else None, initial=queries.settled(request.station)
    )
    interval = IntervalForm(request.POST if which == "interval" else None, station=request.station)
    if (settled.is_bound and _settle(request, settled)) or (interval.is_bound and _set(request, interval)):
        return redirect("intervals", request.station.slug)
    context = {
        "station": request.station,
        "page": "bench",
        "rows": queries.intervals_at(request.station),
        "settled": settled,
        "interval": interval,
        "may_set": may(request, Act.SET_STATION),
    }
    wrong = settled.errors or interval.errors
    return render(request, "bench/intervals.html", context, status=422 if wrong else 200)


def _settle(request: StaffRequest, form: SettingForm) -> bool:
    if not form.is_valid():
        return False
    try:
        services.set_bench(
            actor=request.actor, station_id=request.station.pk, **form.cleaned_data, now=clock.now()
        )
    except services.UnableToInspect as refused:
        form.refuse(refused)
        return False
    messages.success(request, "Settled.")
    return True


def _set(request: StaffRequest, form: IntervalForm) -> bool:
    if not form.is_valid():
        return False
    try:
        services.set_interval(
            actor=request.actor, station_id=request.station.pk, **form.asked(), now=clock.now()
        )
    except services.UnableToInspect as refused:
        form.refuse(refused)
        return False
    messages.success(request, "Settled. It holds from now on.")
    return True


def _look_over(request: StaffRequest, form: RackForm) -> bool:
    try:
        made = services.inspect_rack(
            actor=request.actor,
            station_id=request.station.pk,
            name=form.name,
            item_ids=form.chosen(),
            once=form.cleaned_data["once"],
            now=clock.now(),
        )
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, f"{len(made)} looked over and in order.")
    return True
