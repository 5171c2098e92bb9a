"""The doors: who is asking and at which station, worked out once per request for every page."""

from collections.abc import Callable
from datetime import date
from functools import wraps
from typing import Concatenate, ParamSpec, cast
from urllib.parse import urlsplit

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone, translation
from django.views.decorators.http import require_http_methods

from rentals.lib import clock, show
from rentals.lib.access import NOBODY, Act, Actor
from rentals.lib.problems import Refused
from rentals.people.mapping import actor_of
from rentals.people.models import User
from rentals.stations.models import Station

P = ParamSpec("P")
FIRST_YEAR, LAST_YEAR = 2000, 2100
STAFF_LANGUAGE = "en"


class StaffRequest(HttpRequest):
    """A request whose actor and station are known."""

    actor: Actor
    station: Station


def may(request: StaffRequest, act: Act) -> bool:
    """Say whether the person may do something here, so that no button leads to a refusal."""
    return request.actor.may(act, station_id=request.station.pk)


def asked_day(request: StaffRequest, today: date) -> date:
    """Return the day that the address asks for, or today where it names none we could know of."""
    try:
        day = date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return today
    return day if FIRST_YEAR <= day.year <= LAST_YEAR else today


class ActorMiddleware:
    """Puts the actor on every request of somebody signed in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        actor = actor_of(user, clock.now().date()) if isinstance(user, User) else NOBODY
        cast(StaffRequest, request).actor = actor
        show.use(show.Units.read(request.COOKIES.get(settings.UNITS_COOKIE_NAME, "")))
        return self.get_response(request)


def station_page(
    *methods: str,
) -> Callable[
    [Callable[Concatenate[StaffRequest, P], HttpResponse]],
    Callable[Concatenate[HttpRequest, str, P], HttpResponse],
]:
    """Make a page of one station: methods, station by slug, its clock, and refusals as pages of their own."""

    def decorate(
        view: Callable[Concatenate[StaffRequest, P], HttpResponse],
    ) -> Callable[Concatenate[HttpRequest, str, P], HttpResponse]:
        @wraps(view)
        def page(request: HttpRequest, station_slug: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            staff_request = cast(StaffRequest, request)
            station = Station.objects.visible_to(staff_request.actor).filter(slug=station_slug).first()
            if station is None:
                raise Http404
            staff_request.station = station
            # Riders' pages speak the browser's language; the words of staff pages are English.
            with timezone.override(station.zone), translation.override(STAFF_LANGUAGE):
                try:
                    return view(staff_request, *args, **kwargs)
                except Refused as refused:
                    return render(
                        request,
                        "refused.html",
                        {"station": station, "refused": refused, "back": _back(request)},
                        status=refused.status,
                    )

        return require_http_methods(list(methods))(page)  # type: ignore[return-value]

    return decorate


def _back(request: HttpRequest) -> str:
    """Return where a refused person came from, when that was a page of ours; else the first page."""
    came_from = urlsplit(request.headers.get("Referer", ""))
    return came_from.path if came_from.netloc == request.get_host() else reverse("home")
