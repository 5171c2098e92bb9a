"""The shed as a sheet: taken in after a look at what each row becomes, and given out."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from rentals.bench.forms import SheetForm
from rentals.fleet import queries, services
from rentals.fleet.formats.shed import UnreadableSheet
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.tables import csv_answer
from rentals.people.doors import StaffRequest, may, station_page


@station_page("GET", "POST")
def shed(request: StaffRequest) -> HttpResponse:
    """Take a sheet, show what each row would become, and take it in once that was looked at."""
    form = SheetForm(request.POST or None, request.FILES or None)
    plan = None
    if request.method == "POST" and form.is_valid():
        try:
            plan = queries.shed_plan(request.station, form.text())
            if request.POST.get("step") == "take":
                taken = services.take_shed(
                    actor=request.actor,
                    station_id=request.station.pk,
                    text=form.text(),
                    once=form.cleaned_data["once"],
                    now=clock.now(),
                )
                messages.success(request, f"{taken.new} new, {taken.changed} changed.")
                return redirect("kit", request.station.slug)
        except UnreadableSheet as problem:
            form.add_error("file", str(problem))
        except services.UnableToTakeShed as refused:
            form.refuse(refused)
    context = {
        "station": request.station,
        "page": "kit",
        "form": form,
        "plan": plan,
        "text": form.text() if plan else "",
        "columns": queries.ITEM_COLUMNS,
        "may_take": may(request, Act.EDIT_SHED),
    }
    return render(request, "bench/shed.html", context, status=422 if form.errors else 200)


@station_page("GET")
def export(request: StaffRequest) -> HttpResponse:
    """Give the whole shed out as CSV."""
    name = f"shed-{request.station.slug}-{request.station.local(clock.now()):%Y-%m-%d}"
    # The mark lets a spreadsheet know that it is UTF-8.
    answer = csv_answer("\ufeff" + queries.shed_csv(request.station), name)
    answer["Cache-Control"] = "no-store"
    return answer
