"""Pages of incidents: the list, telling, correcting, following up; the distress sheet; the closing round."""

import csv
from dataclasses import astuple, fields
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.safestring import mark_safe

from rentals.bookings import queries as bookings
from rentals.incidents import queries, services
from rentals.incidents.forms import (
    CallForm,
    ClosingForm,
    CorrectionForm,
    CurrentForm,
    DoneForm,
    IncidentForm,
    ReopenDayForm,
    TurnForm,
    as_told,
    at,
)
from rentals.incidents.mapping import place_words
from rentals.incidents.models import Kind
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.forms import whole_number
from rentals.lib.problems import Refused
from rentals.lib.tables import csv_answer
from rentals.people.doors import StaffRequest, asked_day, may, station_page
from rigging.drawing import search_svg
from rigging.drift import LEEWAY


@station_page("GET")
def incidents(request: StaffRequest) -> HttpResponse:
    """List incidents, those open first."""
    asked = {"kind": request.GET.get("kind", ""), "open": request.GET.get("open", "")}
    listed = queries.incidents_at(request.station, kind=asked["kind"], open_only=bool(asked["open"]))
    context = {
        "station": request.station,
        "page": "incidents",
        "listed": listed,
        "open": sum(not row.closed for row in listed),
        "asked": asked,
        "kinds": Kind.choices,
    }
    return render(request, "incidents/incidents.html", context)


@station_page("GET", "POST")
def report(request: StaffRequest) -> HttpResponse:
    """Report an incident, of an outing where the address names one."""
    asked = whole_number(request.GET.get("outing", ""))
    of = None if asked is None else bookings.outing_for(request.actor, request.station, asked)
    fresh = {
        **at(request.station.local(clock.now())),
        "outing": of.pk if of else "",
        "rider": of.rider_id if of else "",
    }
    kit = queries.kit_of(of) if of else ()
    form = IncidentForm(request.station, kit=kit, **_typed(request, fresh))
    made = _report(request, form) if form.is_bound else None
    if made is not None:
        messages.success(request, "Reported. The items involved are held back.")
        return redirect("incident", request.station.slug, made)
    context = {"station": request.station, "page": "incidents", "form": form, "outing": of}
    return render(request, "incidents/tell.html", context, status=422 if form.errors else 200)


@station_page("GET", "POST")
def incident(request: StaffRequest, incident_id: int) -> HttpResponse:
    """Show an incident; note what was done, close it, or open it again."""
    whole = queries.whole(request.actor, request.station, incident_id)
    which = request.POST.get("which", "")
    done = DoneForm(request.POST if which == "note" else None, prefix="note")
    turn = TurnForm(whole.closed, request.POST if which == "turn" else None, prefix="turn")
    if (done.is_bound and _note(request, incident_id, done)) or (
        turn.is_bound and _turn(request, incident_id, turn, closed=whole.closed)
    ):
        return redirect("incident", request.station.slug, incident_id)
    context = {
        "station": request.station,
        "page": "incidents",
        "whole": whole,
        "done": done,
        "turn": turn,
        "may_close": may(request, Act.CLOSE_INCIDENT),
    }
    return render(
        request, "incidents/incident.html", context, status=422 if done.errors or turn.errors else 200
    )


@station_page("GET", "POST")
def correct(request: StaffRequest, incident_id: int) -> HttpResponse:
    """Tell an incident anew; what was told before stays on record."""
    whole = queries.whole(request.actor, request.station, incident_id)
    fresh = as_told(whole.now, request.station)
    form = CorrectionForm(request.station, **_typed(request, fresh))
    if form.is_bound and _correct(request, incident_id, form):
        messages.success(request, "Corrected. The earlier telling stays on record.")
        return redirect("incident", request.station.slug, incident_id)
    context = {"station": request.station, "page": "incidents", "form": form, "whole": whole}
    return render(request, "incidents/tell.html", context, status=422 if form.errors else 200)


@station_page("GET")
def export(request: StaffRequest) -> HttpResponse:
    """Hand out every incident without names, as a table for spreadsheets."""
    response = csv_answer("", f"incidents-{request.station.slug}")
    rows = csv.writer(response)
    rows.writerow(field.name for field in fields(queries.Nameless))
    rows.writerows(astuple(row) for row in queries.nameless(request.station))
    return response


@station_page("GET", "POST")
def closing(request: StaffRequest) -> HttpResponse:
    """Go on the closing round: who is afloat, what is not back, and the signature."""
    now = clock.now()
    today = request.station.local(now).date()
    day = asked_day(request, today)
    found = queries.closing_of(request.station, day, now=now)
    which = request.POST.get("which", "")
    started = {"name": request.actor.name}
    sign = ClosingForm(bool(found.missing), request.POST if which == "sign" else None, initial=started)
    reopen = ReopenDayForm(request.POST if which == "reopen" else None, prefix="reopen", initial=started)
    if (sign.is_bound and _sign(request, day, sign)) or (reopen.is_bound and _reopen(request, day, reopen)):
        return redirect(f"{reverse('closing', args=[request.station.slug])}?day={day:%Y-%m-%d}")
    context = {
        "station": request.station,
        "page": "closing",
        "found": found,
        "is_today": day == today,
        "sign": sign,
        "reopen": reopen,
        "may_sign": may(request, Act.SIGN_CLOSING),
    }
    return render(
        request, "incidents/closing.html", context, status=422 if sign.errors or reopen.errors else 200
    )


@station_page("GET", "POST")
def distress(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Show the sheet to read to the rescue service; note whom somebody told."""
    outing = bookings.outing_for(request.actor, request.station, outing_id)
    call = CallForm(
        request.POST or None, initial={"whom": f"Rescue service, {request.station.rescue_number}"}
    )
    if call.is_bound and _note_call(request, outing_id, call):
        return redirect(request.get_full_path())
    asked = CurrentForm(request.GET if request.GET.get("kn") or request.GET.get("toward") else None)
    now = clock.now()
    sheet = queries.distress_sheet(outing, current=asked.current(), now=now)
    context = {
        "station": request.station,
        "page": "afloat",
        "sheet": sheet,
        "now": now,
        "age": outing.rider.age_on(now.date()),
        "places": [(each, LEEWAY[each.drifter].words, place_words(each)) for each in sheet.drifts],
        "last_place": place_words(sheet.last.known) if sheet.last else "",
        "drawing": mark_safe(search_svg(sheet.drifts)) if sheet.drifts else "",  # noqa: S308 - escaped by the core
        "call": call,
        "asked": asked,
    }
    return render(request, "incidents/distress.html", context, status=422 if call.errors else 200)


def _typed(request: StaffRequest, fresh: dict[str, object]) -> dict[str, Any]:
    """Return what a form shows and whom it offers; it is judged only when it is to be kept, not to find."""
    said: dict[str, Any] = request.POST.dict() if request.method == "POST" else fresh
    whom = queries.whom(
        request.actor,
        request.station,
        named=str(said.get("looked_for", "")).strip(),
        outing_id=whole_number(str(said.get("outing", ""))),
        rider_id=whole_number(str(said.get("rider", ""))),
        now=clock.now(),
    )
    judged = request.method == "POST" and "find" not in request.POST
    return {"whom": whom, "data": request.POST if judged else None, "initial": said}


def _note_call(request: StaffRequest, outing_id: int, form: CallForm) -> bool:
    if not form.is_valid():
        return False
    try:
        services.note_call(actor=request.actor, outing_id=outing_id, **form.cleaned_data, now=clock.now())
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, "Noted.")
    return True


def _sign(request: StaffRequest, day: date, form: ClosingForm) -> bool:
    if not form.is_valid():
        return False
    said = form.cleaned_data
    try:
        services.sign_day(
            actor=request.actor,
            station_id=request.station.pk,
            day=day,
            ticked=form.ticked,
            name=said["name"],
            note=said["note"],
            once=said["once"],
            now=clock.now(),
        )
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, "Signed. Thank you; see you tomorrow.")
    return True


def _reopen(request: StaffRequest, day: date, form: ReopenDayForm) -> bool:
    if not form.is_valid():
        return False
    try:
        services.reopen_day(
            actor=request.actor, station_id=request.station.pk, day=day, **form.cleaned_data, now=clock.now()
        )
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, "Open again. The signature before stays on record.")
    return True


def _report(request: StaffRequest, form: IncidentForm) -> int | None:
    told = form.told() if form.is_valid() else None
    if told is None:
        return None
    try:
        made = services.report_incident(
            actor=request.actor,
            station_id=request.station.pk,
            told=told,
            item_ids=form.item_ids,
            once=form.cleaned_data["once"],
            now=clock.now(),
        )
    except Refused as refused:
        form.refused(refused)
        return None
    return made.pk


def _correct(request: StaffRequest, incident_id: int, form: CorrectionForm) -> bool:
    told = form.told() if form.is_valid() else None
    if told is None:
        return False
    try:
        services.correct_incident(
            actor=request.actor,
            incident_id=incident_id,
            told=told,
            item_ids=form.item_ids,
            why=form.cleaned_data["why"],
            version=form.cleaned_data["version"],
            now=clock.now(),
        )
    except Refused as refused:
        form.refused(refused)
        return False
    return True


def _note(request: StaffRequest, incident_id: int, form: DoneForm) -> bool:
    if not form.is_valid():
        return False
    said = form.cleaned_data
    try:
        services.follow_up(
            actor=request.actor,
            incident_id=incident_id,
            words=said["words"],
            once=said["once"],
            now=clock.now(),
        )
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, "Noted.")
    return True


def _turn(request: StaffRequest, incident_id: int, form: TurnForm, *, closed: bool) -> bool:
    if not form.is_valid():
        return False
    turn = services.reopen_incident if closed else services.close_incident
    try:
        turn(actor=request.actor, incident_id=incident_id, words=form.cleaned_data["words"], now=clock.now())
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, "Open again." if closed else "Closed.")
    return True
