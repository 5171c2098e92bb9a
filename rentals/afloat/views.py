"""Pages on the beach: the log, the launch check, who is afloat, the watch, and the safety settings."""

from collections.abc import Mapping
from datetime import datetime
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_safe

from rentals.afloat import queries, services
from rentals.afloat.forms import (
    BeachForm,
    ContactsForm,
    CountForm,
    ExtendForm,
    HookForm,
    LaunchForm,
    RecallForm,
    SafetyForm,
    SeenForm,
)
from rentals.afloat.mapping import Beach
from rentals.afloat.models import LaunchCheck
from rentals.audit import services as journal
from rentals.bookings import queries as bookings
from rentals.bookings.models import Outing
from rentals.checklists import queries as checklists
from rentals.checklists.models import Check
from rentals.lib import clock
from rentals.lib.access import Act, System, service
from rentals.lib.forms import PlainForm, once_of, waited_s, whole_number
from rentals.lib.live import live
from rentals.lib.problems import Conflict, Refused
from rentals.mail.services import UnableToSetHook
from rentals.people.doors import StaffRequest, may, station_page
from rigging import checks


@station_page("GET", "POST")
def beach(request: StaffRequest) -> HttpResponse:
    """Log how the beach stands."""
    now = clock.now()
    before = queries.beach_now(request.station, now=now)
    form = BeachForm(request.POST or None, initial=_as_before(before))
    if request.method == "POST" and form.is_valid():
        try:
            services.log_beach(
                actor=request.actor,
                station_id=request.station.pk,
                entry=form.entry(),
                once=form.cleaned_data["once"],
                now=now,
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
    sheet, failed = queries.launch_sheet(outing, ticked=None, now=now), None
    started = {"kit_no": outing.kit_no, "list_version": sheet.listed.version}
    form = LaunchForm(sheet.points, sheet.shut, request.POST or None, initial=started)
    if request.method == "POST" and _is_read(request, outing, form, now):
        try:
            logged = _log_check(request, outing, form, now)
        except services.ListChanged as changed:
            form = _on_new_list(request, sheet, changed)
        else:
            if logged.passed:
                gone = "is afloat" if "launch" in request.POST else "is cleared"
                messages.success(request, f"{outing.rider} {gone}.")
                return redirect("today", request.station.slug)
            failed, form = logged, LaunchForm(sheet.points, sheet.shut, _without_key(request))
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
    back = "afloat" if request.GET.get("back") == "afloat" else "today"
    return redirect(back, request.station.slug)


@station_page("POST")
def still_afloat(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Take a mistaken 'ashore' back."""
    outing = services.call_back_afloat(actor=request.actor, outing_id=outing_id, now=clock.now())
    messages.success(request, f"{outing.rider} is still afloat and watched on.")
    return redirect("today", request.station.slug)


@station_page("POST")
def not_out(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Settle a refused late check by the word that its rider is not on the water."""
    services.not_out(actor=request.actor, outing_id=outing_id, now=clock.now())
    messages.success(request, "Noted, with your name.")
    return redirect("afloat", request.station.slug)


@station_page("GET")
def page(request: StaffRequest) -> HttpResponse:
    """Show everybody on the water."""
    now = clock.now()
    station = request.station
    shown = queries.afloat_page(station, now=now)
    if shown.unraised:
        # Whoever looks first raises what has begun; the worker may be late, or dead.
        services.look(actor=service(System.WATCH), station_id=station.pk, now=now)
        shown = queries.afloat_page(station, now=now)
    context = {
        "station": station,
        "page": "afloat",
        "out": shown,
        "may_be_out": queries.may_be_out(station),
        "form": CountForm(),
        "recall_form": RecallForm(),
        "may": {
            "extend": may(request, Act.EXTEND),
            "lift": may(request, Act.LIFT_RECALL),
            "settle": may(request, Act.CHECK_LAUNCH),
        },
        "caution": checks.RESCUE_FIRST,
    }
    return live(request, "afloat/page.html", "afloat/parts/out.html", context, now=now)


@station_page("GET", "POST")
def rider_out(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Show one rider on the water, note where they were seen, extend their time."""
    now = clock.now()
    outing = bookings.outing_for(request.actor, request.station, outing_id)
    asked = request.POST.get("ask", "")
    see_form = SeenForm(request.POST if asked == "see" else None)
    extend_form = ExtendForm(request.POST if asked == "extend" else None)
    if see_form.is_bound and see_form.is_valid() and _see(request, outing, see_form):
        return redirect("afloat", request.station.slug)
    if extend_form.is_bound and extend_form.is_valid() and _extend(request, outing, extend_form):
        return redirect("afloat", request.station.slug)
    wrong = bool(see_form.errors or extend_form.errors)
    context = {
        "station": request.station,
        "page": "afloat",
        "outing": outing,
        "told": queries.rider_out(outing),
        "see_form": see_form,
        "extend_form": extend_form,
        "may_extend": may(request, Act.EXTEND),
        "now": now,
    }
    return render(request, "afloat/rider.html", context, status=422 if wrong else 200)


@station_page("POST")
def seen(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Note with one tap that a rider was seen just now."""
    sighting = services.see(
        actor=request.actor,
        outing_id=outing_id,
        seen=services.Seen(),
        now=clock.now(),
    )
    messages.success(request, f"{sighting.outing.rider} seen.")
    return redirect("afloat", request.station.slug)


@station_page("POST")
def acknowledge(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Take an alarm on by name."""
    taken = services.acknowledge(actor=request.actor, outing_id=outing_id, now=clock.now())
    words = "You have taken it on. Act now." if taken else "A colleague has taken it on already."
    messages.success(request, words)
    return redirect("afloat", request.station.slug)


@station_page("POST")
def swap(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Note a rider ashore for other kit, and go on to choose it."""
    rest = services.swap_kit(
        actor=request.actor, outing_id=outing_id, once=once_of(request.POST), now=clock.now()
    )
    messages.success(request, f"{rest.rider} is ashore. Take the old kit back, then choose the new one here.")
    return redirect("outing", request.station.slug, rest.pk)


@station_page("POST")
def count(request: StaffRequest) -> HttpResponse:
    """Log a head count."""
    form = CountForm(request.POST)
    if not form.is_valid():
        raise services.UnableToCount("Enter how many riders you count on the water, as a whole number.")
    counted = services.count_heads(
        actor=request.actor,
        station_id=request.station.pk,
        counted=int(form.cleaned_data["counted"]),
        once=form.cleaned_data["once"],
        now=clock.now(),
    )
    if counted.counted == counted.logged:
        messages.success(request, f"{counted.counted} on the water, as logged.")
    return redirect("afloat", request.station.slug)


@station_page("POST")
def recall(request: StaffRequest) -> HttpResponse:
    """Call everybody ashore."""
    services.recall(
        actor=request.actor,
        station_id=request.station.pk,
        reason=request.POST.get("reason", ""),
        once=once_of(request.POST),
        now=clock.now(),
    )
    return redirect("afloat", request.station.slug)


@station_page("POST")
def lift_recall(request: StaffRequest) -> HttpResponse:
    """Let riders launch again."""
    services.lift_recall(actor=request.actor, station_id=request.station.pk, now=clock.now())
    messages.success(request, "The recall is lifted.")
    return redirect("afloat", request.station.slug)


@station_page("POST")
def no_lightning(request: StaffRequest, log_id: int) -> HttpResponse:
    """Take back lightning that was logged by mistake."""
    services.take_back_lightning(
        actor=request.actor, log_id=log_id, reason=request.POST.get("reason", ""), now=clock.now()
    )
    messages.success(request, "Taken back. The line stays in the log, with your name.")
    return redirect("beach", request.station.slug)


@station_page("GET")
def watch_bar(request: StaffRequest) -> HttpResponse:
    """Say what every page of the station must say now; what has begun is raised by whoever asks first."""
    now, station = clock.now(), request.station
    said = queries.bar(station, now=now)
    if said.missed:
        services.look(actor=service(System.WATCH), station_id=station.pk, now=now)
        said = queries.bar(station, now=now)
    response = render(
        request,
        "afloat/parts/bar.html",
        {"station": station, "bar": said, "may_be_out": queries.may_be_out(station)},
    )
    patch_cache_control(response, no_store=True)
    return response


@login_not_required
@require_safe
def health_live(_request: HttpRequest) -> HttpResponse:
    """Say that this process answers; nothing else is asked."""
    return _health({"process": True})


@login_not_required
@require_safe
def health_ready(_request: HttpRequest) -> HttpResponse:
    """Say whether pages can be served: the database answers."""
    return _health({"database": queries.database_answers()})


@login_not_required
@require_safe
def health(_request: HttpRequest) -> HttpResponse:
    """Say whether the service does its work, watch and mail included, to a monitor that calls people."""
    if not queries.database_answers():
        return _health({"database": False, "watch": False, "outbox": False})
    found = queries.health(now=clock.now())
    return _health({"database": True, "watch": found.watch, "outbox": found.outbox})


@station_page("GET", "POST")
def safety(request: StaffRequest) -> HttpResponse:
    """Show a station's safety settings, and set them one part at a time."""
    station, may_set = request.station, may(request, Act.SET_STATION)
    asked = request.POST.get("ask", "") if may_set else ""
    form = SafetyForm(station, request.POST if asked == "safety" else None, may_set=may_set)
    known = queries.contacts(station)
    contacts = ContactsForm(known, request.POST if asked == "contacts" else None, may_set=may_set)
    hook_form = HookForm(request.POST if asked == "hook" else None)
    secret = _set(request, asked, form, contacts, hook_form)
    if secret == "":
        messages.success(request, "Saved.")
        return redirect("safety", station.slug)
    context = {
        "station": station,
        "page": "safety",
        "form": form,
        "contacts": contacts,
        "hook_form": hook_form,
        "hook": queries.hook(station),
        "secret": secret,
        "may_set": may_set,
        "always_hard": ", ".join(name.replace("_", " ") for name in sorted(checks.ALWAYS_HARD)),
    }
    wrong = bool(form.errors or contacts.errors or hook_form.errors)
    return render(request, "afloat/safety.html", context, status=422 if wrong else 200)


def _health(parts: Mapping[str, bool]) -> HttpResponse:
    well = all(parts.values())
    said = {
        "status": "ok" if well else "failing",
        "checks": {name: "ok" if good else "failing" for name, good in parts.items()},
    }
    response = JsonResponse(said, status=HTTPStatus.OK if well else HTTPStatus.SERVICE_UNAVAILABLE)
    patch_cache_control(response, no_store=True)
    return response


def _see(request: StaffRequest, outing: Outing, form: SeenForm) -> bool:
    try:
        services.see(
            actor=request.actor,
            outing_id=outing.pk,
            seen=form.seen(),
            once=form.cleaned_data["once"],
            now=clock.now(),
        )
    except (services.UnableToSee, Conflict) as refused:
        form.refuse(refused)
        return False
    messages.success(request, f"{outing.rider}: sighting logged.")
    return True


def _extend(request: StaffRequest, outing: Outing, form: ExtendForm) -> bool:
    try:
        done = services.extend(
            actor=request.actor,
            outing_id=outing.pk,
            minutes=int(form.cleaned_data["minutes"]),
            reason=form.cleaned_data["reason"],
            once=form.cleaned_data["once"],
            now=clock.now(),
        )
    except (services.UnableToExtend, Conflict) as refused:
        form.refuse(refused)
        return False
    due = f"{request.station.local(done.outing.ends_at):%H:%M}"
    messages.success(request, f"{outing.rider} is due {due} now. {done.words}".strip())
    return True


def _set(
    request: StaffRequest, asked: str, form: SafetyForm, contacts: ContactsForm, hook_form: HookForm
) -> str | None:
    """Set what was asked for; return a new secret, "" without one to show, None when nothing was set."""
    common: dict[str, Any] = {"actor": request.actor, "station_id": request.station.pk, "now": clock.now()}
    bound: PlainForm = {"contacts": contacts, "hook": hook_form}.get(asked, form)
    try:
        if asked == "no-hook":
            services.stop_hook(**common)
        elif not (bound.is_bound and bound.is_valid()):
            return None
        elif asked == "safety":
            services.set_safety(safety=form.safety(), **common)
        elif asked == "contacts":
            services.set_contacts(contacts=contacts.contacts(), **common)
        else:
            return services.set_hook(url=hook_form.cleaned_data["url"], **common)
    except (services.UnableToSetSafety, UnableToSetHook) as refused:
        bound.refuse(refused, names=contacts.places() if asked == "contacts" else None)
        return None
    return ""


def _log_check(request: StaffRequest, outing: Outing, form: LaunchForm, now: datetime) -> LaunchCheck:
    try:
        return services.check_launch(
            actor=request.actor,
            outing_id=outing.pk,
            kit_no=form.cleaned_data["kit_no"],
            ticked=form.ticked,
            overrides=form.overrides,
            note=form.cleaned_data["note"],
            launch="launch" in request.POST,
            list_version=form.cleaned_data["list_version"],
            waited_s=waited_s(request.POST),
            once=form.cleaned_data["once"],
            now=now,
        )
    except Refused as refused:
        _note_late(request, outing, refused.sentence, now)
        raise


def _is_read(request: StaffRequest, outing: Outing, form: LaunchForm, now: datetime) -> bool:
    """Say whether what was sent can be read."""
    if not form.is_valid():
        _note_late(request, outing, "What the device sent could not be read.", now)
    return form.is_valid()


def _note_late(request: StaffRequest, outing: Outing, why: str, now: datetime) -> None:
    """Note for the watch that a check which a device kept was refused; one sent at once let nobody go."""
    waited = waited_s(request.POST)
    if waited is not None:
        services.note_late(
            actor=request.actor,
            outing_id=outing.pk,
            waited_s=waited,
            why=why,
            once=once_of(request.POST),
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


def _without_key(request: StaffRequest) -> QueryDict:
    """Return what was ticked with a fresh key: the next look is a check of its own."""
    data = request.POST.copy()
    data["once"] = ""
    return data


def _on_new_list(
    request: StaffRequest, sheet: queries.LaunchSheet, changed: services.ListChanged
) -> LaunchForm:
    """Return the form on the list as it is now, the ticks kept, what is new or reworded marked."""
    written = request.POST.get("list_version", "")
    before = checklists.version_of(request.station, Check.LAUNCH, whole_number(written) or 0)
    data = _without_key(request)
    data["list_version"] = str(sheet.listed.version)
    form = LaunchForm(sheet.points, sheet.shut, data)
    form.mark(sheet.listed.since(before))
    form.refuse(changed)
    return form
