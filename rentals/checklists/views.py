"""Pages of check lists: what is looked at, its versions, and editing with a look at what comes of it."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from rentals.checklists import queries, services
from rentals.checklists.forms import ListForm
from rentals.checklists.models import Check
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.problems import Refused
from rentals.people.doors import StaffRequest, may, station_page
from rigging.checks import CAUTION


@station_page("GET", "POST")
def check_list(request: StaffRequest, check: str) -> HttpResponse:
    """Show a list with its versions; a manager edits it, looks, and keeps it."""
    if check not in Check.values:
        raise Http404
    shown = queries.in_force(request.station, check)
    form = ListForm(shown, request.POST or None)
    preview = None
    if request.method == "POST" and form.is_valid():
        if "keep" in request.POST and _keep(request, check, form):
            return redirect("check-list", request.station.slug, check)
        preview = form.lines()
    context = {
        "station": request.station,
        "page": "check-lists",
        "check": Check(check),
        "checks": Check.choices,
        "shown": shown,
        "form": form,
        "preview": preview,
        "history": queries.history(request.station, check),
        "may_edit": may(request, Act.EDIT_LISTS),
        "caution": CAUTION,
    }
    return render(request, "checklists/list.html", context, status=422 if form.errors else 200)


def _keep(request: StaffRequest, check: str, form: ListForm) -> bool:
    try:
        row = services.keep_list(
            actor=request.actor,
            station_id=request.station.pk,
            check=check,
            lines=form.lines(),
            version=form.cleaned_data["version"],
            why=form.cleaned_data["why"],
            now=clock.now(),
        )
    except Refused as refused:
        form.refused(refused)
        return False
    messages.success(request, f"Version {row.version} is in force. Checks logged before keep their wording.")
    return True
