"""Pages of the bench's jobs: what waits, mending, releasing."""

from collections.abc import Mapping

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from rentals.bench import queries, services
from rentals.bench.forms import MendForm
from rentals.lib import clock
from rentals.people.doors import StaffRequest, station_page


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
