"""The rig-up page: ask for the day's plan, look at it, change it, put it in force, tick its rigs off."""

from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.forms import model_to_dict
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.safestring import mark_safe

from rentals.bookings import queries as bookings
from rentals.dayplan import queries, services
from rentals.dayplan.forms import CrewForm, SailForm, SpanForm
from rentals.dayplan.mapping.long_lists import OF_THE_DAY, Cut, LongList
from rentals.dayplan.mapping.shown import sails_for
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.forms import OnceForm, once_of, whole_number
from rentals.lib.problems import Refused
from rentals.people.doors import StaffRequest, asked_day, may, station_page
from rentals.stations.models import Station
from rigging.drawing.daychart import day_chart_svg

PARTS = {
    LongList.RIGS: "dayplan/parts/rig_table.html",
    LongList.RIDERS: "dayplan/parts/riders.html",
    LongList.SHORT: "dayplan/parts/short.html",
    LongList.OTHER_KIT: "dayplan/parts/other_kit.html",
    LongList.ASIDE: "dayplan/parts/aside.html",
    LongList.DRAWN: "dayplan/parts/drawn.html",
    LongList.COST: "dayplan/parts/cost.html",
    LongList.SINCE: "dayplan/parts/since.html",
}
"""Templates of the lists that may be asked for whole."""


@station_page("GET")
def rig_up(request: StaffRequest) -> HttpResponse:
    """Show the plan of a day and the crew's list."""
    return _page(request)


@station_page("POST")
def ask(request: StaffRequest) -> HttpResponse:
    """Ask for a plan of the rest of a day."""
    now = clock.now()
    day = asked_day(request, request.station.local(now).date())
    try:
        services.ask_for_plan(
            actor=request.actor, station_id=request.station.pk, day=day, once=once_of(request.POST), now=now
        )
    except (services.UnableToPlan, services.UnableToMovePlan) as refused:
        return _page(request, refused)
    return redirect(_address(request.station, day))


@station_page("POST")
def accept(request: StaffRequest, plan_id: int) -> HttpResponse:
    """Put a plan in force."""
    try:
        plan = services.accept_plan(
            actor=request.actor, plan_id=plan_id, once=once_of(request.POST), now=clock.now()
        )
    except (services.UnableToAccept, services.UnableToMovePlan) as refused:
        return _page(request, refused)
    messages.success(request, f"Plan {plan.number} is in force: kit is held and carded for its riders.")
    return redirect(_address(request.station, plan.day))


@station_page("POST")
def cancel(request: StaffRequest, plan_id: int) -> HttpResponse:
    """Give a plan up."""
    try:
        plan = services.cancel_plan(actor=request.actor, plan_id=plan_id, now=clock.now())
    except services.UnableToMovePlan as refused:
        return _page(request, refused)
    messages.success(request, f"Plan {plan.number} is cancelled.")
    return redirect(_address(request.station, plan.day))


@station_page("GET", "POST")
def adjust(request: StaffRequest, plan_id: int, outing_id: int) -> HttpResponse:
    """Choose another sail for one rider; the plan made with it shows what that costs."""
    plan = queries.plan_for(request.actor, request.station, plan_id)
    outing = bookings.outing_for(request.actor, request.station, outing_id)
    form = SailForm(sails_for(plan, outing_id), request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.adjust_plan(
                actor=request.actor,
                plan_id=plan.pk,
                outing_id=outing.pk,
                sail=form.cleaned_data["sail"],
                once=form.cleaned_data["once"],
                now=clock.now(),
            )
        except (services.UnableToPlan, services.UnableToMovePlan) as refused:
            form.refuse(refused)
        else:
            return redirect(_address(request.station, plan.day))
    context = {"station": request.station, "page": "rig-up", "plan": plan, "outing": outing, "form": form}
    return render(request, "dayplan/adjust.html", context, status=422 if form.errors else 200)


@station_page("POST")
def tick(request: StaffRequest, task_id: int) -> HttpResponse:
    """Tick a rig off, or take the tick back."""
    try:
        task = services.tick_rig(
            actor=request.actor, task_id=task_id, ticked=request.POST.get("built") == "1", now=clock.now()
        )
    except services.UnableToTick as refused:
        return _page(request, refused)
    looked_at = _looked_at(task.plan.day, _asked_plan(request), _asked_cut(request))
    return redirect(f"{reverse('rig-up', args=[request.station.slug])}?{looked_at}#rig-{task.place}")


@station_page("GET", "POST")
def lacks(request: StaffRequest) -> HttpResponse:
    """Show what one unit more would have gained, and ask for it to be reckoned."""
    now, station = clock.now(), request.station
    request.actor.require(Act.STUDY_SHED, station_id=station.pk)
    today = station.local(now).date()
    span = {"first_day": today - timedelta(days=180), "last_day": today}
    form = SpanForm(request.POST or None, initial=span)
    if request.method == "POST" and form.is_valid():
        asked = form.cleaned_data
        try:
            services.ask_for_study(
                actor=request.actor,
                station_id=station.pk,
                first_day=asked["first_day"],
                last_day=asked["last_day"],
                once=asked["once"],
                now=now,
            )
        except (services.UnableToPlan, services.UnableToMoveStudy) as refused:
            form.refuse(refused)
        else:
            return redirect("lacks", station.slug)
    shelf = queries.shelf(station)
    context = {"station": station, "page": "rig-up", "form": form, "shelf": shelf, "now": now}
    return render(request, "dayplan/lacks.html", context, status=422 if form.errors else 200)


@station_page("GET", "POST")
def crew(request: StaffRequest) -> HttpResponse:
    """Set who builds rigs."""
    request.actor.require(Act.SET_STATION, station_id=request.station.pk)
    known = queries.crew_of(request.station)
    form = CrewForm(request.POST or None, initial=model_to_dict(known, exclude=["id", "station"]))
    if request.method == "POST" and form.is_valid():
        facts = form.facts()
        try:
            services.set_crew(
                actor=request.actor, station_id=request.station.pk, facts=facts, now=clock.now()
            )
        except services.UnableToSetCrew as refused:
            form.refuse(refused)
        else:
            messages.success(request, "The crew is set. Plans asked for from now on reckon with it.")
            return redirect("rig-up", request.station.slug)
    context = {"station": request.station, "page": "rig-up", "form": form}
    return render(request, "dayplan/crew.html", context, status=422 if form.errors else 200)


@station_page("POST")
def cancel_study(request: StaffRequest, study_id: int) -> HttpResponse:
    """Give a study up."""
    try:
        services.cancel_study(actor=request.actor, study_id=study_id, now=clock.now())
    except services.UnableToMoveStudy as refused:
        messages.error(request, refused.sentence)
    return redirect("lacks", request.station.slug)


def _page(request: StaffRequest, refused: Refused | None = None) -> HttpResponse:
    """The rig-up page, with why something was refused at its top."""
    now, station = clock.now(), request.station
    today = station.local(now).date()
    day = asked_day(request, today)
    number, cut = _asked_plan(request), _asked_cut(request)
    found = queries.rig_up(station, day, number=number, cut=cut, now=now)
    laid = found.laid
    context: dict[str, Any] = {
        "station": station,
        "page": "rig-up",
        "up": found,
        "laid": laid,
        "crew": laid and laid.crew,
        "whole": cut.whole,
        "now": now,
        **_deeds(request, may_ask=day >= today),
        "form": OnceForm(),
        "refused": refused,
        "bare": reverse("rig-up", args=[station.slug]),
        "here": _address(station, day, number),
        "looked_at": _looked_at(day, number, cut),
        "day_before": day - timedelta(days=1),
        "day_after": day + timedelta(days=1),
        "drawing": laid and _drawing(station, laid, now if day == today else None),
    }
    template = "dayplan/rig_up.html"
    if cut.whole and laid:
        template = "dayplan/whole.html"
        context |= {"part": PARTS[cut.whole], "list": laid.stretch(cut.whole)}
    return render(request, template, context, status=refused.status if refused else 200)


def _deeds(request: StaffRequest, *, may_ask: bool) -> dict[str, bool]:
    return {
        "may_ask": may_ask and may(request, Act.PLAN_DAY),
        "may_study": may(request, Act.STUDY_SHED),
        "may_set": may(request, Act.SET_STATION),
        "may_accept": may(request, Act.ACCEPT_PLAN),
    }


def _drawing(station: Station, laid: queries.Laid, now: datetime | None) -> str:
    """The day drawn from an hour before opening to closing."""
    day = laid.plan.day
    opens = datetime.combine(day, station.opens, station.zone) - timedelta(hours=1)
    closes = datetime.combine(day, station.closes, station.zone)
    drawn = day_chart_svg(laid.lanes, now, opens, closes, zone=station.zone)
    return mark_safe(drawn)  # noqa: S308 - the core escapes every text in it


def _asked_plan(request: StaffRequest) -> int | None:
    """The number of the plan that the address asks for."""
    return whole_number(request.GET.get("plan", ""))


def _asked_cut(request: StaffRequest) -> Cut:
    """The list that the address asks for whole, and which page of it."""
    asked = request.GET.get("all", "")
    whole = LongList(asked) if asked in list(LongList) else None
    return Cut(whole, whole_number(request.GET.get("page", "")) or 1)


def _looked_at(day: date, number: int | None, cut: Cut) -> str:
    """What the page's address says of what is looked at."""
    asked = {"day": day.isoformat(), "plan": number, "all": cut.whole, "page": cut.whole and cut.page}
    return urlencode({key: value for key, value in asked.items() if value})


def _address(station: Station, day: date, number: int | None = None) -> str:
    return f"{reverse('rig-up', args=[station.slug])}?{_looked_at(day, number, OF_THE_DAY)}"
