"""Pages for people at home, open to everybody or behind a secret link; and the staff's page about them."""

from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.contrib.auth import logout
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _

from rentals.bookings.services import RiderAlreadyOut, UnableToBook, UnableToMoveOuting
from rentals.home import queries, services
from rentals.home.doors import HOME, HomeRequest, address_of, front_page, link_page, tablet_page
from rentals.home.forms import (
    DayForm,
    FrontForm,
    HomeForm,
    HomeRows,
    LookForm,
    OwnRider,
    PartyForm,
    SignForm,
    TimeForm,
    known_riders,
)
from rentals.home.mapping import PRIVACY, WAIVER
from rentals.home.models import LANGUAGES, Front, Guest
from rentals.home.states import IN_THE_DAY
from rentals.lessons import queries as taught
from rentals.lessons.queries import OpenLesson
from rentals.lessons.services import LessonFull, UnableToEnrol
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.forms import whole_number
from rentals.lib.problems import Conflict, NotVisible, Refused
from rentals.people.doors import StaffRequest, may, station_page
from rentals.people.mapping import actor_of
from rentals.people.models import Rider
from rentals.people.services import UnableToKeepRider

TOO_MANY = 429


@front_page("GET")
def front(request: HomeRequest) -> HttpResponse:
    """Show what a station can serve, to somebody who names a day and the weights of a party."""
    now, at = clock.now(), request.front.station
    asked = request.GET if "day" in request.GET else None
    form = LookForm(request.front, at.local(now).date(), asked)
    found: list[queries.Slot] | None = None
    if asked is not None and form.is_valid():
        if not _counted(request, services.LOOKS):
            return _too_many(request)
        found = queries.slots(
            request.front,
            form.asked_day(),
            hours=int(form.cleaned_data["hours"]),
            half=form.cleaned_data["half"],
            riders=form.riders(),
            now=now,
        )
    context = {
        "front": request.front,
        "at": at,
        "form": form,
        "slots": found,
        "asked": request.GET.urlencode(),
    }
    return render(
        request, "home/front.html", context, status=422 if asked is not None and found is None else 200
    )


@front_page("GET", "POST")
def book(request: HomeRequest) -> HttpResponse:
    """Book from home, or join the waiting list of a time that is taken."""
    today = request.front.station.local(clock.now()).date()
    more = "more" in request.POST
    if request.method == "GET":
        first = {name: request.GET[name] for name in ("day", "starts_at", "hours") if name in request.GET}
        rows = HomeRows(None, today=today, known=known_riders(request.GET))
        return _form(request, HomeForm(initial=first), rows)
    form, rows = HomeForm(request.POST), HomeRows(request.POST, today=today, more=more)
    if more:
        return _form(
            request, HomeForm(initial=request.POST.dict()), HomeRows(request.POST, today=today, more=True)
        )
    if not _counted(request, services.POSTS):
        form.add_error(None, _too_often(request))
        return _form(request, form, rows, status=TOO_MANY)
    return _keep(request, form, rows)


@front_page("GET")
def lessons(request: HomeRequest) -> HttpResponse:
    """Show the lessons of a day that have a free seat, with level, language and price."""
    form, day, offers = _offers(request)
    context = {"front": request.front, "at": request.front.station}
    return render(request, "home/lessons.html", {**context, "form": form, "day": day, "offers": offers})


@front_page("GET", "POST")
def lesson(request: HomeRequest, lesson_id: int) -> HttpResponse:
    """Book seats in a lesson from home."""
    at, now = request.front.station, clock.now()
    offer = taught.lesson_on_offer(at, lesson_id, now=now)
    today, more = at.local(now).date(), "more" in request.POST
    if request.method == "GET":
        return _lesson_form(request, offer, PartyForm(), HomeRows(None, today=today))
    form, rows = PartyForm(request.POST), HomeRows(request.POST, today=today, more=more)
    if more:
        return _lesson_form(request, offer, PartyForm(initial=request.POST.dict()), rows)
    if not _counted(request, services.POSTS):
        form.add_error(None, _too_often(request))
        return _lesson_form(request, offer, form, rows, status=TOO_MANY)
    rows_whole = rows.is_valid()
    if not (form.is_valid() and rows_whole):
        return _lesson_form(request, offer, form, rows)
    asked = form.asked_for((offer.starts_at, offer.ends_at), rows, translation.get_language() or "en")
    try:
        guest = services.book_lesson(
            actor=HOME, front_id=request.front.pk, lesson_id=lesson_id, asked=asked, now=now
        )
    except LessonFull as full:
        offer = taught.lesson_on_offer(at, lesson_id, now=now)
        return _lesson_form(request, offer, form, rows, taken=full, status=full.status)
    except (UnableToEnrol, UnableToBook, RiderAlreadyOut, services.UnableToRepeat) as refused:
        if not rows.refuse(refused):
            form.refuse(refused)
        return _lesson_form(request, offer, form, rows)
    return _to_their_page(request, guest)


@link_page("GET")
def visit(request: HomeRequest) -> HttpResponse:
    """Show a party its booking, and what it may do."""
    front, now = request.front, clock.now()
    seen = queries.visit(front, request.guest, now=now)
    context = {"front": front, "at": front.station, "visit": seen, "token": request.token}
    if request.guest.state in IN_THE_DAY:
        context["to_pay"] = queries.to_pay(request.guest, now=now)
    if seen.may_change:
        context["cost"] = queries.cancel_cost(request.guest, now=now)
    return render(request, "home/visit.html", context)


@link_page("GET", "POST")
def move(request: HomeRequest) -> HttpResponse:
    """Move a booking to another time, or to another lesson."""
    if request.guest.booking.kind == queries.LESSON:
        return _move_lesson(request)
    front, guest, now = request.front, request.guest, clock.now()
    start = front.station.local(guest.starts_at)
    hours = round((guest.ends_at - guest.starts_at) / timedelta(hours=1))
    first = {"day": start.date(), "starts_at": f"{start:%H:%M}", "hours": str(hours)}
    form = TimeForm(request.POST or None, initial=first)
    span = form.span(front.station.zone) if request.method == "POST" and form.is_valid() else None
    if span is not None:
        try:
            services.move_from_home(
                actor=HOME, front=front, guest=guest, starts_at=span[0], ends_at=span[1], now=now
            )
        except (UnableToBook, RiderAlreadyOut, services.UnableToPromise) as refused:
            form.refuse(refused)
        else:
            messages.success(request, _("Your booking is moved. We have written to you."))
            return redirect("visit", front.station.slug, request.token)
    context = {"front": front, "at": front.station, "guest": guest, "form": form, "token": request.token}
    return render(request, "home/move.html", context, status=422 if form.errors else 200)


@link_page("GET", "POST")
def own_rider(request: HomeRequest, rider_id: int) -> HttpResponse:
    """Let a party correct what it told about one of its riders, until the day begins."""
    front, guest, now = request.front, request.guest, clock.now()
    rider = queries.rider_of(guest, rider_id)
    form = OwnRider(rider, front.station.local(guest.starts_at).date(), request.POST or None)
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            services.change_rider_from_home(
                actor=HOME, front=front, guest=guest, rider_id=rider.pk, facts=form.facts(), now=now
            )
        except (UnableToKeepRider, Conflict) as refused:
            form.refuse(refused)
            status = refused.status
        else:
            messages.success(request, _("Thank you, it is noted."))
            return redirect("visit", front.station.slug, request.token)
    context = {"front": front, "at": front.station, "token": request.token, "rider": rider, "form": form}
    more = {"waiver": WAIVER, "may_tell": queries.before_the_day(front, guest, now=now)}
    status = 422 if form.errors and status == 200 else status
    return render(request, "home/rider.html", {**context, **more}, status=status)


@link_page("POST")
def leave(request: HomeRequest) -> HttpResponse:
    """Cancel a booking, or leave the waiting list."""
    told = request.POST.get("told", "")
    told_minor = int(told[:15]) if told.isascii() and told.isdecimal() else None
    services.leave(actor=HOME, guest_id=request.guest.pk, told_minor=told_minor, now=clock.now())
    messages.success(request, _("It is cancelled. We have written to you."))
    return redirect("visit", request.front.station.slug, request.token)


@link_page("POST")
def take(request: HomeRequest) -> HttpResponse:
    """Take the place that was offered."""
    services.take_offer(actor=HOME, guest_id=request.guest.pk, now=clock.now())
    messages.success(request, _("The place is yours. We have written to you."))
    return redirect("visit", request.front.station.slug, request.token)


@station_page("GET", "POST")
def from_home(request: StaffRequest) -> HttpResponse:
    """Show staff who booked from home, who waits and whose letters came back; a manager sets the rules."""
    known = Front.objects.filter(station=request.station).first()
    form = FrontForm.of(known, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.open_front(
                actor=request.actor, station_id=request.station.pk, facts=form.facts(), now=clock.now()
            )
        except services.UnableToOpen as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Saved.")
            return redirect("from-home", request.station.slug)
    context = {
        "station": request.station,
        "page": "from-home",
        "front": known,
        "form": form,
        "guests": queries.guests_at(request.station, now=clock.now()),
        "may_set": may(request, Act.OPEN_FRONT),
        "may_revoke": may(request, Act.BOOK),
    }
    return render(request, "home/from_home.html", context, status=422 if form.errors else 200)


@station_page("GET")
def outbox(request: StaffRequest) -> HttpResponse:
    """Show staff the letters to riders and what became of each."""
    lost = request.GET.get("lost") == "1"
    sent = queries.outbox(request.station, lost=lost, now=clock.now())
    context = {"station": request.station, "page": "from-home", "sent": sent, "lost": lost}
    return render(request, "home/outbox.html", context)


@station_page("POST")
def revoke(request: StaffRequest, guest_id: int) -> HttpResponse:
    """Withdraw a party's secret links."""
    guest = services.revoke_links(actor=request.actor, guest_id=guest_id, now=clock.now())
    messages.success(request, f"The links of {guest.booking.party.contact_name} open nothing any more.")
    return redirect("from-home", request.station.slug)


def _counted(request: HomeRequest, limit: Any) -> bool:
    return services.count_post(actor=HOME, limit=limit, address=address_of(request), now=clock.now())


def _keep(request: HomeRequest, form: HomeForm, rows: HomeRows) -> HttpResponse:
    """Book or queue when everything holds together; otherwise say why not, and keep what was typed."""
    rows_whole = rows.is_valid()
    asked = None
    if form.is_valid() and rows_whole:
        asked = form.asked(request.front.station.zone, rows, translation.get_language() or "en")
    if asked is None:
        return _form(request, form, rows)
    try:
        if "wait" in request.POST:
            guest = services.join_queue(actor=HOME, front_id=request.front.pk, asked=asked, now=clock.now())
        else:
            guest = services.book_from_home(actor=HOME, front=request.front, asked=asked, now=clock.now())
    except services.UnableToPromise as taken:
        return _form(request, form, rows, taken=taken, status=taken.status)
    except (UnableToBook, RiderAlreadyOut, services.UnableToRepeat, UnableToMoveOuting) as refused:
        if not rows.refuse(refused):
            form.refuse(refused)
        return _form(request, form, rows)
    return _to_their_page(request, guest)


def _to_their_page(request: HomeRequest, guest: Guest) -> HttpResponse:
    token = services.open_link(actor=HOME, guest_id=guest.pk, now=clock.now())
    return redirect("visit", request.front.station.slug, token)


def _offers(request: HomeRequest) -> tuple[DayForm, date, list[queries.LessonOffer]]:
    now = clock.now()
    today = request.front.station.local(now).date()
    form = DayForm(request.front, today, request.GET if "day" in request.GET else None)
    day = form.chosen(today)
    return form, day, queries.lessons_on(request.front, day, now=now)


def _move_lesson(request: HomeRequest) -> HttpResponse:
    """Show lessons to change to, and change to the one that was chosen."""
    front, refused = request.front, None
    chosen = whole_number(request.POST.get("lesson", ""))
    if chosen is not None:
        try:
            services.change_lesson(actor=HOME, guest_id=request.guest.pk, lesson_id=chosen, now=clock.now())
        except (Conflict, UnableToBook, NotVisible) as why_not:
            refused = why_not
        else:
            messages.success(request, _("Your seats are changed. We have written to you."))
            return redirect("visit", front.station.slug, request.token)
    form, day, offers = _offers(request)
    context = {"front": front, "at": front.station, "token": request.token, "refused": refused}
    return render(
        request,
        "home/move_lesson.html",
        {**context, "form": form, "day": day, "offers": offers},
        status=refused.status if refused else 200,
    )


def _lesson_form(
    request: HomeRequest,
    offer: OpenLesson,
    form: PartyForm,
    rows: HomeRows,
    *,
    taken: Refused | None = None,
    status: int = 0,
) -> HttpResponse:
    wrong = form.is_bound and bool(form.errors or rows.errors)
    riders = len(rows.forms)
    price = queries.price_of(request.front, queries.LESSON, offer.spans, riders=riders, now=clock.now())
    context = {
        **_party(request, form, rows),
        "offer": queries.LessonOffer(offer, None),
        "price": price,
        "wrong": wrong,
        "taken": taken,
    }
    return render(request, "home/lesson.html", context, status=status or (422 if wrong else 200))


def _party(request: HomeRequest, form: PartyForm, rows: HomeRows) -> dict[str, Any]:
    return {
        "front": request.front,
        "at": request.front.station,
        "form": form,
        "rows": rows,
        "waiver": WAIVER,
        "privacy": PRIVACY,
    }


def _form(
    request: HomeRequest, form: HomeForm, rows: HomeRows, *, taken: Refused | None = None, status: int = 0
) -> HttpResponse:
    wrong = form.is_bound and bool(form.errors or rows.errors)
    context = {
        **_party(request, form, rows),
        "wrong": wrong,
        "taken": taken,
        "price": _price(request, form, rows),
    }
    return render(request, "home/book.html", context, status=status or (422 if wrong else 200))


def _price(request: HomeRequest, form: HomeForm, rows: HomeRows) -> queries.Price | None:
    """What the time in the form costs its riders, where it names one."""
    known = {name: form[name].value() for name in ("day", "starts_at", "hours")}
    time = TimeForm(known)
    span = time.span(request.front.station.zone) if time.is_valid() else None
    if span is None:
        return None
    return queries.price_of(request.front, queries.RENTAL, [span], riders=len(rows.forms), now=clock.now())


def _too_often(request: HomeRequest) -> str:
    said = _("Too many tries from here. Wait ten minutes, or call us on %(phone)s.")
    return said % {"phone": request.front.phone}


def _too_many(request: HomeRequest) -> HttpResponse:
    context = {"front": request.front, "at": request.front.station, "too_many": True}
    return render(request, "home/said.html", context, status=TOO_MANY)


@station_page("GET", "POST")
def hand_over(request: StaffRequest, rider_id: int) -> HttpResponse:
    """Show what a rider has signed; hand the tablet over, signed out, to sign the waiver on it."""
    rider = Rider.objects.visible_to(request.actor).filter(station=request.station, pk=rider_id).first()
    if rider is None:
        raise Http404
    if request.method == "POST":
        token = queries.token_of(rider, request.actor, now=clock.now())
        logout(request)
        answer = redirect("sign", request.station.slug, token)
        # Neither "back" nor the cache may show a page of the station to whoever holds the tablet.
        answer.headers["Clear-Site-Data"] = '"cache"'
        return answer
    context = {
        "station": request.station,
        "page": "riders",
        "rider": rider,
        "minor": rider.is_minor_on(request.station.local(clock.now()).date()),
        "signatures": queries.signatures_of(rider),
        "version": queries.text_version(queries.house_rules(request.station)),
    }
    return render(request, "home/hand_over.html", context)


@tablet_page("GET", "POST")
def sign(request: HomeRequest) -> HttpResponse:
    """Let a rider, or a minor's guardian, read the waiver in their language and sign it."""
    handed, now = request.handed, clock.now()
    rider, station = handed.rider, handed.rider.station
    language, rules = translation.get_language() or "en", queries.house_rules(station)
    minor, version = rider.is_minor_on(station.local(now).date()), queries.text_version(rules)
    form = SignForm(request.POST or None, minor=minor, version=version)
    if request.method == "POST" and form.is_valid():
        try:
            services.sign_at_desk(
                actor=actor_of(handed.by, now.date()),
                rider_id=rider.pk,
                signed=form.signed(language),
                handed_at=handed.at,
                now=now,
            )
        except services.TextChanged as changed:
            form = SignForm(minor=minor, version=version)
            return _tablet(request, form, rules, status=changed.status, changed=changed)
        except services.UnableToSign as refused:
            form.refuse(refused)
        else:
            return redirect(f"{request.path}?in={language}")
    return _tablet(request, form, rules, status=422 if form.errors else 200)


def _tablet(
    request: HomeRequest, form: SignForm, rules: str, *, status: int, changed: Refused | None = None
) -> HttpResponse:
    rider = request.handed.rider
    context = {
        "at": rider.station,
        "rider": rider,
        "back": reverse("rider", args=[rider.station.slug, rider.pk]),
        "signed": queries.signed_since(rider, request.handed.at),
        "minor": "consents" in form.fields,
        "form": form,
        "waiver": WAIVER,
        "house_rules": rules,
        "changed": changed,
        "languages": LANGUAGES,
    }
    return render(request, "home/tablet.html", context, status=status)
