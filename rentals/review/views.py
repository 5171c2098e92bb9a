"""Pages of the review: a period's figures, a month to print, the life of the kit and what it costs."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import mark_safe

from rentals.dayplan.queries import shelf
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.people.doors import StaffRequest, may, station_page
from rentals.review import services
from rentals.review.forms import CostForm, PeriodForm
from rentals.review.mapping.figures import Figure, figures, named
from rentals.review.mapping.life import ModelLife
from rentals.review.mapping.lifefigures import hazard_figure, items_table, life_drawing, lives_table
from rentals.review.mapping.lists import lists
from rentals.review.mapping.period import Period
from rentals.review.queries.facts import facts
from rentals.review.queries.life import kit_life, kit_lives


@station_page("GET")
def review(request: StaffRequest) -> HttpResponse:
    """Show the figures of some months."""
    form = PeriodForm(request.GET or None)
    period = form.period(request.station.local(clock.now()).date())
    known = facts(request.actor, request.station, period)
    context = {
        "station": request.station,
        "page": "review",
        "form": form,
        "period": period,
        "facts": known,
        "figures": figures(known),
        "since": f"{period.first:%Y-%m}",
        "until": f"{period.last:%Y-%m}",
    }
    return render(request, "review/review.html", context, status=422 if form.errors else 200)


@station_page("GET")
def review_csv(request: StaffRequest, name: str) -> HttpResponse:
    """Give the table of one figure as CSV."""
    period = PeriodForm(request.GET or None).period(request.station.local(clock.now()).date())
    found = next(named(figures(facts(request.actor, request.station, period)), name), None)
    if found is None:
        raise Http404
    return found.table.as_file(f"{request.station.slug}-{name}-{period.first:%Y-%m}-{period.last:%Y-%m}")


@station_page("GET")
def review_lists(request: StaffRequest) -> HttpResponse:
    """Show what to retire and what to buy."""
    found, period = _lists(request)
    context = {"station": request.station, "page": "review", "figures": found, "period": period}
    return render(request, "review/lists.html", context)


@station_page("GET")
def review_lists_csv(request: StaffRequest, name: str) -> HttpResponse:
    """Give what to retire, or what to buy, as CSV."""
    found = next(named(_lists(request)[0], name), None)
    if found is None:
        raise Http404
    return found.table.as_file(f"{request.station.slug}-{name}")


@station_page("GET")
def life(request: StaffRequest) -> HttpResponse:
    """Show how long each model lasts, by the station's own records."""
    lives = kit_lives(request.actor, request.station, now=clock.now())
    context = {
        "station": request.station,
        "page": "life",
        "spoken": [each for each in lives if each.life],
        "silent": [each for each in lives if not each.life],
    }
    return render(request, "review/life.html", context)


@station_page("GET")
def life_csv(request: StaffRequest) -> HttpResponse:
    """Give the lives as CSV."""
    table = lives_table(kit_lives(request.actor, request.station, now=clock.now()))
    return table.as_file(f"{request.station.slug}-life")


@station_page("GET", "POST")
def model_life(request: StaffRequest, model_id: int) -> HttpResponse:
    """Show the life of one model and of its items; set what it costs."""
    found = kit_life(request.actor, request.station, model_id, now=clock.now())
    form = CostForm.of(found.cost, request.POST or None)
    if request.method == "POST" and form.is_valid() and _set_costs(request, found, form):
        return redirect("model-life", request.station.slug, model_id)
    context = {
        "station": request.station,
        "page": "life",
        "life": found,
        "drawing": mark_safe(life_drawing(found)),  # noqa: S308 - the core escapes every text in it
        "hazard": hazard_figure(found),
        "items": items_table(found),
        "form": form,
        "may_set": may(request, Act.SET_COSTS),
    }
    return render(request, "review/model_life.html", context, status=422 if form.errors else 200)


@station_page("GET")
def model_life_csv(request: StaffRequest, model_id: int, name: str) -> HttpResponse:
    """Give the hazard or the items of one model as CSV."""
    found = kit_life(request.actor, request.station, model_id, now=clock.now())
    hazard = hazard_figure(found)
    tables = {"items": items_table(found), **({"hazard": hazard.table} if hazard else {})}
    if name not in tables:
        raise Http404
    return tables[name].as_file(f"{request.station.slug}-life-{model_id}-{name}")


@station_page("GET")
def month_report(request: StaffRequest) -> HttpResponse:
    """Show a month on paper."""
    today = request.station.local(clock.now()).date()
    form = PeriodForm({"since": request.GET.get("month", ""), "until": request.GET.get("month", "")})
    asked = form.is_valid() and form.cleaned_data["since"]
    period = Period.of_month(asked or today)
    known = facts(request.actor, request.station, period)
    context = {
        "station": request.station,
        "page": "review",
        "period": period,
        "facts": known,
        "figures": figures(known),
        "printed": clock.now(),
    }
    return render(request, "review/month.html", context)


def _lists(request: StaffRequest) -> tuple[tuple[Figure, ...], Period]:
    now = clock.now()
    period = Period.until(request.station.local(now).date())
    known = facts(request.actor, request.station, period)
    lives = kit_lives(request.actor, request.station, now=now)
    return lists(lives, known, shelf(request.station).bought), period


def _set_costs(request: StaffRequest, found: ModelLife, form: CostForm) -> bool:
    try:
        services.set_costs(
            actor=request.actor,
            station_id=request.station.pk,
            model_id=found.model.pk,
            **form.cleaned_data,
            now=clock.now(),
        )
    except services.UnableToSetCosts as refused:
        form.refuse(refused)
        return False
    messages.success(request, f"Costs of {found.model} are set.")
    return True
