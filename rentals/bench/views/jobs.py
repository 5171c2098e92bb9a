"""Pages of the bench's jobs: what waits, mending, releasing."""

from collections.abc import Mapping

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from rentals.bench import queries, services
from rentals.bench.forms import MendForm, NoteForm, PhotoForm
from rentals.bench.states import UNFINISHED
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.problems import Refused
from rentals.people.doors import StaffRequest, may, station_page


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


@station_page("GET", "POST")
def job(request: StaffRequest, job_id: int) -> HttpResponse:
    """Show a job with its work, costs and photos; note a line, or add a photo."""
    found = queries.job_for(request.actor, request.station, job_id)
    which = request.POST.get("which", "")
    note = NoteForm(request.POST if which == "note" else None)
    photo = PhotoForm(*((request.POST, request.FILES) if which == "photo" else ()))
    if (note.is_bound and _note(request, job_id, note)) or (photo.is_bound and _keep(request, job_id, photo)):
        return redirect("job", request.station.slug, job_id)
    context = {
        "station": request.station,
        "page": "bench",
        "found": found,
        "note": note,
        "photo": photo,
        "may_mend": may(request, Act.MEND) and found.job.state in UNFINISHED,
        "may_show": may(request, Act.REPORT_FAULT),
    }
    return render(request, "bench/job.html", context, status=422 if note.errors or photo.errors else 200)


@station_page("GET")
def photo(request: StaffRequest, photo_id: int) -> HttpResponse:
    """Send a photo to whoever may see its item: a JPEG of ours, shown as nothing else."""
    found = queries.photo_for(request.actor, request.station, photo_id)
    return HttpResponse(
        bytes(found.content),
        content_type="image/jpeg",
        headers={
            "Content-Disposition": f'inline; filename="photo-{found.pk}.jpg"',
            "Cache-Control": "private, max-age=3600",
            "Cross-Origin-Resource-Policy": "same-origin",
        },
    )


def _note(request: StaffRequest, job_id: int, form: NoteForm) -> bool:
    if not form.is_valid():
        return False
    try:
        services.note_job(
            actor=request.actor,
            job_id=job_id,
            note=form.note(),
            once=form.cleaned_data["once"],
            now=clock.now(),
        )
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, "Noted.")
    return True


def _keep(request: StaffRequest, job_id: int, form: PhotoForm) -> bool:
    if not form.is_valid():
        return False
    try:
        services.add_photo(
            actor=request.actor,
            job_id=job_id,
            content=form.content(),
            once=form.cleaned_data["once"],
            now=clock.now(),
        )
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, "The photo is kept, without where and when it was taken.")
    return True


def _bench_page(request: StaffRequest, bound: Mapping[int, MendForm]) -> HttpResponse:
    jobs = [
        (each, bound.get(each.job.pk) or MendForm(prefix=f"job-{each.job.pk}"))
        for each in queries.jobs_at(request.station, now=clock.now())
    ]
    context = {"station": request.station, "page": "bench", "jobs": jobs, "wrong": bool(bound)}
    return render(request, "bench/bench.html", context, status=422 if bound else 200)
