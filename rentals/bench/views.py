"""Pages of the shed: the kit list, an item's life, the return check, and the bench."""

from collections.abc import Mapping

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from rentals.audit import services as journal
from rentals.bench import queries, services
from rentals.bench.forms import FaultForm, MendForm, ReturnForm, WithdrawForm
from rentals.bookings import queries as bookings
from rentals.fleet.models import Kind
from rentals.fleet.states import ItemState
from rentals.lib import clock
from rentals.lib.access import Act
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
    return render(request, "bench/kit.html", context)


@station_page("GET", "POST")
def item(request: StaffRequest, tag: str) -> HttpResponse:
    """Show an item's life; report a fault of it, or withdraw it."""
    life = queries.item_life(request.actor, request.station, tag)
    which = request.POST.get("which", "")
    fault = FaultForm(request.POST if which == "fault" else None)
    withdraw = WithdrawForm(request.POST if which == "withdraw" else None)
    if (fault.is_bound and _report(request, life.item.pk, fault)) or (
        withdraw.is_bound and _withdraw(request, life.item.pk, withdraw)
    ):
        return redirect("item", request.station.slug, life.item.tag)
    context = {
        "station": request.station,
        "page": "kit",
        "life": life,
        "age_days": life.age_days(clock.now().date()),
        "fault": fault,
        "withdraw": withdraw,
        "may_withdraw": may(request, Act.WITHDRAW) and life.item.state != ItemState.WITHDRAWN,
        "may_report": life.item.state not in (ItemState.WITHDRAWN, ItemState.ISSUED),
    }
    return render(request, "bench/item.html", context, status=422 if fault.errors or withdraw.errors else 200)


@station_page("GET", "POST")
def take_back(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Go through what came back, item by item."""
    outing = bookings.outing_for(request.actor, request.station, outing_id)
    if journal.done_before(request.actor, request.POST.get("once", "")):
        return redirect("outing", request.station.slug, outing.pk)
    form = ReturnForm(queries.still_out(outing), request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.take_back(
                actor=request.actor,
                outing_id=outing.pk,
                lines=form.lines(),
                felt=form.cleaned_data["felt"],
                stays_rigged=form.cleaned_data["stays_rigged"],
                note=form.cleaned_data["note"],
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
    context = {"station": request.station, "page": "today", "outing": outing, "form": form}
    return render(request, "bench/take_back.html", context, status=422 if form.errors else 200)


@station_page("GET")
def bench(request: StaffRequest) -> HttpResponse:
    """List what waits on the bench."""
    return _bench_page(request, {})


@station_page("POST")
def mend(request: StaffRequest, job_id: int) -> HttpResponse:
    """Note what mended a fault."""
    form = MendForm(request.POST, prefix=f"job-{job_id}")
    if not form.is_valid():
        return _bench_page(request, {job_id: form})
    minutes = form.cleaned_data["minutes"]
    services.mend(
        actor=request.actor,
        job_id=job_id,
        work=form.cleaned_data["work"],
        minutes=None if minutes is None else int(minutes),
        now=clock.now(),
    )
    messages.success(request, "Mended. Somebody must release it before it goes out.")
    return redirect("bench", request.station.slug)


@station_page("POST")
def release(request: StaffRequest, job_id: int) -> HttpResponse:
    """Release a mended item."""
    job = services.release(actor=request.actor, job_id=job_id, now=clock.now())
    messages.success(request, f"{job.item.tag} is released.")
    return redirect("bench", request.station.slug)


def _bench_page(request: StaffRequest, bound: Mapping[int, MendForm]) -> HttpResponse:
    jobs = [
        (job, bound.get(job.pk) or MendForm(prefix=f"job-{job.pk}"))
        for job in queries.jobs_at(request.station)
    ]
    context = {"station": request.station, "page": "bench", "jobs": jobs, "wrong": bool(bound)}
    return render(request, "bench/bench.html", context, status=422 if bound else 200)


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
