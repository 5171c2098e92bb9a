"""Pages of kit called back: calling a model or batch back, who has it, the maker's list and letter."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from rentals.bench import queries, services
from rentals.bench.forms import EndRecallForm, RecallForm
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.problems import Refused
from rentals.lib.tables import csv_answer
from rentals.people.doors import StaffRequest, may, station_page


@station_page("GET", "POST")
def recalls(request: StaffRequest) -> HttpResponse:
    """List recalls; call a model or batch back."""
    form = RecallForm(request.POST or None, station=request.station)
    if request.method == "POST" and form.is_valid():
        try:
            recall = services.recall_kit(
                actor=request.actor,
                station_id=request.station.pk,
                model_id=int(form.cleaned_data["model"]),
                batch=form.cleaned_data["batch"],
                reason=form.cleaned_data["reason"],
                maker=form.cleaned_data["maker"],
                once=form.cleaned_data["once"],
                now=clock.now(),
            )
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Called back. What is in the shed is held back now.")
            return redirect("kit-recall", request.station.slug, recall.pk)
    context = {
        "station": request.station,
        "page": "bench",
        "recalls": queries.recalls_at(request.station),
        "form": form,
        "may_recall": may(request, Act.RECALL_KIT),
    }
    return render(request, "bench/recalls.html", context, status=422 if form.errors else 200)


@station_page("GET", "POST")
def recall(request: StaffRequest, recall_id: int) -> HttpResponse:
    """Show a recall with its items and riders, as a letter to the maker too; end it."""
    found = queries.recall_for(request.actor, request.station, recall_id)
    form = EndRecallForm(request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        try:
            services.end_recall(
                actor=request.actor,
                recall_id=recall_id,
                because=form.cleaned_data["because"],
                now=clock.now(),
            )
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, "The recall has ended.")
            return redirect("kit-recall", request.station.slug, recall_id)
    context = {
        "station": request.station,
        "page": "bench",
        "found": found,
        "form": form,
        "today": clock.now(),
        "may_end": may(request, Act.END_RECALL) and found.recall.ended_at is None,
    }
    return render(request, "bench/recall.html", context, status=422 if form.errors else 200)


@station_page("GET")
def recall_list(request: StaffRequest, recall_id: int) -> HttpResponse:
    """Give the items of a recall out as CSV for the maker."""
    found = queries.recall_for(request.actor, request.station, recall_id)
    answer = csv_answer("\ufeff" + queries.recall_csv(found), f"recall-{recall_id}")
    answer["Cache-Control"] = "no-store"
    return answer
