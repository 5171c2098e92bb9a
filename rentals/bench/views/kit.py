"""Pages of the shed: the kit list, an item's life, and the return check."""

from datetime import date

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import mark_safe

from rentals.audit import services as journal
from rentals.bench import queries, services
from rentals.bench.forms import FaultForm, ReturnForm, WithdrawForm
from rentals.bookings import queries as bookings
from rentals.fleet.models import Kind
from rentals.fleet.states import ItemState
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.forms import waited_s
from rentals.lib.live import found
from rentals.lib.problems import Refused
from rentals.people.doors import StaffRequest, may, station_page


@station_page("GET")
def kit(request: StaffRequest) -> HttpResponse:
    """List the shed, by kind, state and part of tag or name."""
    asked = {name: request.GET.get(name, "").strip() for name in ("kind", "state", "q")}
    items = queries.items_at(request.station, kind=asked["kind"], state=asked["state"], part=asked["q"])
    context = {
        "station": request.station,
        "page": "kit",
        "items": items,
        "asked": asked,
        "kinds": Kind.values,
        "states": [state.value for state in ItemState],
    }
    return found(request, "bench/kit.html", "bench/parts/kit_found.html", context)


@station_page("GET", "POST")
def item(request: StaffRequest, tag: str) -> HttpResponse:
    """Show an item's life; report a fault of it, or withdraw it."""
    life = queries.item_life(request.actor, request.station, tag, today=_today(request))
    which = request.POST.get("which", "")
    fault = FaultForm(request.POST if which == "fault" else None)
    withdraw = WithdrawForm(request.POST if which == "withdraw" else None)
    if (fault.is_bound and _report(request, life.item.pk, fault)) or (
        withdraw.is_bound and _withdraw(request, life.item.pk, withdraw)
    ):
        return redirect("item", request.station.slug, life.item.tag)
    line = queries.life_line(life, request.station, today=_today(request))
    context = {
        "station": request.station,
        "page": "kit",
        "life": life,
        "line": line,
        "drawing": mark_safe(line.drawing),  # noqa: S308 - the core escapes every text in it
        "age_days": life.age_days(_today(request)),
        "fault": fault,
        "withdraw": withdraw,
        "may_withdraw": may(request, Act.WITHDRAW) and life.item.state != ItemState.WITHDRAWN,
        "may_inspect": may(request, Act.INSPECT)
        and life.item.state not in (ItemState.WITHDRAWN, ItemState.ISSUED),
        "may_report": life.item.state not in (ItemState.WITHDRAWN, ItemState.ISSUED),
    }
    return render(request, "bench/item.html", context, status=422 if fault.errors or withdraw.errors else 200)


@station_page("GET", "POST")
def take_back(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Go through what came back, item by item."""
    outing = bookings.outing_for(request.actor, request.station, outing_id)
    if journal.done_before(request.actor, request.POST.get("once", "")):
        return redirect("outing", request.station.slug, outing.pk)
    sheet = queries.return_sheet(outing)
    form = ReturnForm(sheet, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.take_back(
                actor=request.actor,
                outing_id=outing.pk,
                lines=form.lines(),
                felt=form.cleaned_data["felt"],
                stays_rigged=form.cleaned_data["stays_rigged"],
                note=form.cleaned_data["note"],
                list_version=form.cleaned_data["list_version"],
                waited_s=waited_s(request.POST),
                once=form.cleaned_data["once"],
                now=clock.now(),
            )
        except services.UnableToTakeBack as refused:
            form.refuse(refused)
        else:
            missing = sum(not line.back for line in form.lines())
            still = f" {missing} still missing." if missing else ""
            messages.success(request, f"Taken back from {outing.rider}.{still}")
            return redirect("outing", request.station.slug, outing.pk)
    context = {"station": request.station, "page": "today", "outing": outing, "form": form, "sheet": sheet}
    return render(request, "bench/take_back.html", context, status=422 if form.errors else 200)


def _today(request: StaffRequest) -> date:
    return request.station.local(clock.now()).date()


def _report(request: StaffRequest, item_id: int, form: FaultForm) -> bool:
    if not form.is_valid():
        return False
    try:
        services.report_fault(
            actor=request.actor,
            item_id=item_id,
            fault=form.cleaned_data["fault"],
            once=form.cleaned_data["once"],
            now=clock.now(),
        )
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, "Reported. The item is on the bench.")
    return True


def _withdraw(request: StaffRequest, item_id: int, form: WithdrawForm) -> bool:
    if not form.is_valid():
        return False
    try:
        services.withdraw(
            actor=request.actor, item_id=item_id, reason=form.cleaned_data["reason"], now=clock.now()
        )
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, "Withdrawn. Its record stays.")
    return True
