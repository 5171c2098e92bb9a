"""The shed as a sheet: taken in after a look at what each row becomes, and given out."""

from django.http import HttpResponse
from django.shortcuts import redirect, render

from rentals.bench.forms import SheetForm
from rentals.errands import services as errands
from rentals.errands.models import ErrandKind
from rentals.fleet import queries
from rentals.fleet.formats.shed import UnreadableSheet
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.tables import csv_answer
from rentals.people.doors import StaffRequest, may, station_page


@station_page("GET", "POST")
def shed(request: StaffRequest) -> HttpResponse:
    """Take a sheet, show what each row would become, and have it taken in once that was looked at."""
    form = SheetForm(request.POST or None, request.FILES or None)
    plan = None
    if request.method == "POST" and form.is_valid():
        try:
            plan = queries.shed_plan(request.station, form.text())
            if request.POST.get("step") == "take":
                errand = errands.ask_for(
                    actor=request.actor,
                    station_id=request.station.pk,
                    kind=ErrandKind.TAKE_SHED,
                    asked={"text": form.text()},
                    once=form.cleaned_data["once"],
                    now=clock.now(),
                )
                return redirect("errand", request.station.slug, errand.pk)
        except UnreadableSheet as problem:
            form.add_error("file", str(problem))
        except errands.UnableToMoveErrand as refused:
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
