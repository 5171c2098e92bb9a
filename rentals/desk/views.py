"""Today, and the outing page that walks a rider from the promise to the launch."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.safestring import mark_safe

from rentals.bookings import queries as bookings
from rentals.bookings import services as bookings_services
from rentals.bookings.forms import RiderRows, initial
from rentals.bookings.models import Outing
from rentals.bookings.states import NOT_YET_AFLOAT, OutingState
from rentals.dayplan import queries as dayplan
from rentals.dayplan.services import promising
from rentals.desk import queries
from rentals.desk.forms import PartyForm, at_another_start, with_list
from rentals.desk.mapping import read_list
from rentals.desk.services import issuing as services
from rentals.errands import services as errands
from rentals.errands.models import ErrandKind
from rentals.home import queries as letters
from rentals.lib import clock, show
from rentals.lib.access import Act, System
from rentals.lib.forms import OnceForm, once_of, whole_number
from rentals.lib.live import found, live
from rentals.lib.problems import Conflict
from rentals.mail.models import Letter
from rentals.people import queries as people
from rentals.people.doors import StaffRequest, asked_day, may, station_page
from rentals.people.services import RiderFacts
from rentals.rigs import queries as rigs
from rentals.rigs import services as rigs_services
from rentals.rigs.forms import KitForm
from rentals.stations.models import Station
from rentals.takings import queries as takings
from rigging.drawing import wind_day_svg

MOST_ROWS = 30
"""How many afloat and how many to come Today shows before it is asked for all."""


def home(request: HttpRequest) -> HttpResponse:
    """Go to Today of the station, or choose one where there are several."""
    actor = request.actor  # type: ignore[attr-defined]
    stations = list(Station.objects.visible_to(actor).order_by("name"))
    if len(stations) == 1:
        return redirect("today", stations[0].slug)
    return render(request, "desk/home.html", {"stations": stations, "may_found": System.FOUND in actor.acts})


@station_page("GET")
def today(request: StaffRequest) -> HttpResponse:
    """Show the day at one glance."""
    now = clock.now()
    actual = request.station.local(now).date()
    day = asked_day(request, actual)
    board = queries.board(request.station, day, now=now, most=None if "all" in request.GET else MOST_ROWS)
    minute = now.replace(second=0, microsecond=0)  # so that a part in which nothing happened stays the same
    drawn = wind_day_svg(
        board.wind.hours,
        minute,
        board.wind.start,
        board.wind.end,
        zone=request.station.zone,
        title="Wind today",
        unit=show.used().wind,
    )
    context = {
        "station": request.station,
        "page": "today",
        "board": board,
        "now": now,
        "is_today": day == actual,
        "may": {"book": may(request, Act.BOOK), "log": may(request, Act.ENTER_WEATHER)},
        "words": "",
        "day_before": day - timedelta(days=1),
        "day_after": day + timedelta(days=1),
        "drawing": mark_safe(drawn),  # noqa: S308 - the core escapes every text in it
    }
    return live(request, "desk/today.html", "desk/parts/board.html", context, now=now)


@station_page("GET")
def first_steps(request: StaffRequest) -> HttpResponse:
    """Lead through what a new station wants."""
    steps = queries.first_steps(request.station, request.station.local(clock.now()).date())
    demo = queries.demo_of(request.station.pk)
    loaded = demo is not None and demo.kind == ErrandKind.LOAD_DEMO
    context = {
        "station": request.station,
        "page": "station",
        "steps": steps,
        "demo": demo if loaded else None,
        "may_load": not loaded and not any(step.name == "Kit" and step.done for step in steps),
        "may_set": may(request, Act.SET_STATION),
        "form": OnceForm(),
    }
    return render(request, "desk/first_steps.html", context)


@station_page("POST")
def change_demo(request: StaffRequest) -> HttpResponse:
    """Ask for the demo to be loaded into this station, or to be removed from it."""
    remove = "remove" in request.POST
    errand = errands.ask_for(
        actor=request.actor,
        station_id=request.station.pk,
        kind=ErrandKind.REMOVE_DEMO if remove else ErrandKind.LOAD_DEMO,
        asked={},
        once=once_of(request.POST),
        now=clock.now(),
    )
    return redirect("errand", request.station.slug, errand.pk)


@station_page("GET")
def find(request: StaffRequest) -> HttpResponse:
    """Find a party, a rider or an item; what is hit alone is gone to at once."""
    words = request.GET.get("q", "")
    hits = queries.find(request.actor, request.station, words, now=clock.now())
    if hits.count == 1 and not request.htmx:  # type: ignore[attr-defined]  # set by HtmxMiddleware
        return redirect(_address(request.station, hits))
    context = {"station": request.station, "page": "today", "hits": hits, "words": words}
    return found(request, "desk/find.html", "desk/parts/found.html", context)


def _address(station: Station, hits: queries.Found) -> str:
    """Return where the only hit is shown."""
    for party in hits.parties:
        if party.to_issue:
            return reverse("issue-party", args=[station.slug, party.booking.pk])
        return reverse("outing", args=[station.slug, party.rows[0].outing.pk])
    for rider in hits.riders:
        return reverse("rider", args=[station.slug, rider.pk])
    return reverse("item", args=[station.slug, hits.items[0].tag])


@station_page("GET", "POST")
def issue_party(request: StaffRequest, booking_id: int) -> HttpResponse:
    """Hand a whole party its kit."""
    now = clock.now()
    party = queries.party_today(request.actor, request.station, booking_id, now=now)
    refused = None
    if request.method == "POST":
        try:
            handed = services.issue_party(actor=request.actor, kits=_ticked(request), now=now)
        except (services.NobodyNamed, Conflict) as problem:
            refused = problem
        else:
            messages.success(request, f"Issued to {', '.join(each.rider.name for each in handed)}.")
            return redirect("today", request.station.slug)
    context = {"station": request.station, "page": "today", "party": party, "refused": refused}
    return render(request, "desk/issue.html", context, status=422 if refused else 200)


def _ticked(request: StaffRequest) -> dict[int, int]:
    """Return outing and kit number of each box ticked: `12:1`."""
    pairs = [value.partition(":") for value in request.POST.getlist("kit")]
    numbers = [(whole_number(pk), whole_number(no)) for pk, _, no in pairs]
    return {pk: no for pk, no in numbers if pk is not None and no is not None}


@dataclass(frozen=True, slots=True)
class Steps:
    """Which steps an outing's page offers."""

    choose: bool
    issue: bool
    check: bool
    let_go: bool
    ashore: bool
    still_afloat: bool
    take_back: bool
    cancel: bool


@station_page("GET", "POST")
def outing(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Show an outing; choose its kit."""
    now = clock.now()
    shown = bookings.outing_for(request.actor, request.station, outing_id)
    offers = rigs.offers(shown, now=now)
    form = KitForm(offers, request.POST or None)
    if request.method == "POST" and form.is_valid() and _keep_kit(request, shown, form):
        return redirect("outing", request.station.slug, shown.pk)
    day = shown.starts_at.date()
    steps = _steps(request, shown.state, offers)
    in_the_way = bookings.in_the_way(shown, now=now) if steps.issue else ()
    context = {
        "station": request.station,
        "page": "today",
        "outing": shown,
        "in_the_way": in_the_way,
        "now": now,
        "offers": offers,
        "form": form,
        "kit": offers.kit.values(),
        "card": rigs.card_of(shown),
        "steps": steps,
        "may_issue": steps.issue and not in_the_way and queries.is_here(offers.kit.values()),
        "age": shown.rider.age_on(day),
        "minor": shown.rider.is_minor_on(day),
        "entries": queries.outing_journal(shown),
        "letters": _letters(shown),
        "money": takings.outing_money(shown),
        "may_charge": may(request, Act.CHARGE),
    }
    return render(request, "desk/outing.html", context, status=422 if form.errors else 200)


def _letters(shown: Outing) -> Sequence[Letter]:
    """What was written to the party, where it left an address."""
    if not shown.booking.party.contact_email:
        return ()
    return letters.letters_of([shown.booking_id]).get(shown.booking_id, ())


def _keep_kit(request: StaffRequest, shown: Outing, form: KitForm) -> bool:
    try:
        rigs_services.kit_outing(
            actor=request.actor,
            outing_id=shown.pk,
            choice=form.choice(),
            once=form.cleaned_data["once"],
            now=clock.now(),
        )
    except (rigs_services.UnableToKit, Conflict) as refused:
        form.refuse(refused)
        return False
    messages.success(request, f"Kit chosen for {shown.rider}.")
    return True


@station_page("POST")
def issue(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Hand the kit over."""
    handed = bookings_services.issue_kit(
        actor=request.actor,
        outing_id=outing_id,
        kit_no=whole_number(request.POST.get("kit_no", "")) or 0,
        now=clock.now(),
    )
    messages.success(request, f"Issued to {handed.rider}.")
    checks_it = may(request, Act.CHECK_LAUNCH)
    return redirect("launch-check" if checks_it else "outing", request.station.slug, handed.pk)


def _steps(request: StaffRequest, state: str, offers: rigs.Offers) -> Steps:
    issued = any(part.issued_at and not part.returned_at for part in offers.kit.values())
    return Steps(
        choose=state in NOT_YET_AFLOAT and not issued,
        issue=state in (OutingState.KITTED, OutingState.CLEARED) and not issued,
        check=state in (OutingState.KITTED, OutingState.CLEARED)
        and issued
        and may(request, Act.CHECK_LAUNCH),
        let_go=state == OutingState.CLEARED and may(request, Act.LAUNCH),
        ashore=state == OutingState.AFLOAT,
        still_afloat=state == OutingState.ASHORE and issued,
        take_back=issued or state in (OutingState.AFLOAT, OutingState.ASHORE),
        cancel=state in NOT_YET_AFLOAT and not issued and may(request, Act.CANCEL),
    )


@dataclass(frozen=True, slots=True)
class Asked:
    """What a whole booking form asks for."""

    starts_at: datetime
    ends_at: datetime
    riders: list[RiderFacts | int]


@station_page("GET", "POST")
def book(request: StaffRequest) -> HttpResponse:
    """Book a party; on the way read a pasted list, or look at which times the shed can serve it."""
    now = clock.now()
    if request.method == "POST":
        request.actor.require(Act.BOOK, station_id=request.station.pk)
    form, rows = _booking_form(request, now)
    asked = _asked(request, form, rows) if form.is_bound else None
    told = None
    if asked:
        told = _offer(request, form, asked, now)
        if not {"look", "start"} & request.POST.keys() and _booked(request, form, rows, asked, told, now):
            return redirect("today", request.station.slug)
    wrong = rows.bound and bool(form.errors or rows.errors)
    context = {
        "station": request.station,
        "page": "today",
        "form": form,
        "rows": rows,
        "offer": told,
        "wrong": wrong,
        "known": people.rider_choices(request.actor, request.station),
    }
    return render(request, "desk/book.html", context, status=422 if wrong else 200)


def _booking_form(request: StaffRequest, now: datetime) -> tuple[PartyForm, RiderRows]:
    """Return the form with what was typed; bound only when it is to be judged as a whole."""
    fresh = initial(request.station.local(now))
    if request.method != "POST":
        return PartyForm(initial=fresh), RiderRows(None)
    if "more" in request.POST:
        return PartyForm(initial=request.POST.dict()), RiderRows(request.POST, more=True)
    if "read" in request.POST:
        pasted = read_list(request.POST.get("pasted", ""))
        typed = with_list(request.POST, pasted, queries.named_here(request.actor, request.station, pasted))
        rows = RiderRows(typed)
        rows.is_valid()
        return PartyForm(initial=typed.dict()), rows
    typed = at_another_start(request.POST, request.POST["start"]) if "start" in request.POST else request.POST
    return PartyForm(typed, initial=fresh), RiderRows(typed)


def _asked(request: StaffRequest, form: PartyForm, rows: RiderRows) -> Asked | None:
    """Return what the form asks for, None when something in it is off; then it says what."""
    whole, rows_whole = form.is_valid(), rows.is_valid()
    span = form.span(request.station.zone) if whole else None
    return Asked(*span, rows.riders()) if span and rows_whole else None


def _offer(request: StaffRequest, form: PartyForm, asked: Asked, now: datetime) -> queries.Offer | None:
    """Return what the party may be told, None for what the booking itself refuses."""
    riders = queries.wished(request.actor, request.station, asked.riders)
    if riders is None or not now < asked.starts_at < asked.ends_at:
        return None
    wish = dayplan.Wish(
        kind=form.cleaned_data["kind"], starts_at=asked.starts_at, ends_at=asked.ends_at, riders=riders
    )
    return queries.offer(request.station, wish, elsewhen="look" in request.POST, now=now)


def _booked(
    request: StaffRequest,
    form: PartyForm,
    rows: RiderRows,
    asked: Asked,
    told: queries.Offer | None,
    now: datetime,
) -> bool:
    """Book; otherwise say beside each field why not."""
    values: dict[str, Any] = {
        "actor": request.actor,
        "station_id": request.station.pk,
        "contact": form.contact(),
        "kind": form.cleaned_data["kind"],
        "starts_at": asked.starts_at,
        "ends_at": asked.ends_at,
        "riders": asked.riders,
        "note": form.cleaned_data["note"],
        "once": form.cleaned_data["once"],
        "now": now,
    }
    try:
        if told and told.promise:
            promising.book_promised(promise=told.promise, despite=form.cleaned_data["despite"], **values)
        else:
            bookings_services.book_party(**values)
    except promising.UnableToPromise as refused:
        form.add_error("despite", refused.sentence)
        return False
    except (bookings_services.UnableToBook, Conflict) as refused:
        if not rows.refuse(refused):
            form.refuse(refused)
        return False
    messages.success(request, f"Booked {len(asked.riders)} for {form.cleaned_data['contact_name']}.")
    return True
