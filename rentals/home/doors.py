"""The doors for people at home: no sign-in, but an open page, and for a booking its secret link."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, cast

from axes.helpers import get_client_ip_address
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone, translation
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from rentals.home import queries
from rentals.home.models import LANGUAGES, Front, Guest
from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.lib.problems import NotVisible, Refused

P = ParamSpec("P")
HOME = service(System.HOME)


class HomeRequest(HttpRequest):
    """A request at a station's open page; `guest`, `handed` and `token` are set behind a secret.

    So is `LANGUAGE_CODE`, in which an error page speaks too.
    """

    front: Front
    guest: Guest
    handed: queries.HandedOver
    token: str


View = Callable[Concatenate[HomeRequest, P], HttpResponse]
Page = Callable[Concatenate[HttpRequest, str, P], HttpResponse]
LinkPage = Callable[Concatenate[HttpRequest, str, str, P], HttpResponse]


def address_of(request: HttpRequest) -> str:
    """Return the network address that a request came from."""
    return str(get_client_ip_address(request) or "unknown")


def front_page(*methods: str) -> Callable[[View[P]], Page[P]]:
    """Make a page of an open front: everybody may see it."""

    def decorate(view: View[P]) -> Page[P]:
        @wraps(view)
        def page(request: HttpRequest, station_slug: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            at_home = cast(HomeRequest, request)
            try:
                at_home.front = queries.open_front(station_slug)
            except NotVisible as gone:
                return _say(request, gone)
            with timezone.override(at_home.front.station.zone):
                try:
                    response = view(at_home, *args, **kwargs)
                except Refused as refused:
                    response = _say(request, refused)
            response.headers["Cache-Control"] = "no-store"
            return response

        opened = require_http_methods(list(methods))(page)
        return login_not_required(opened)  # type: ignore[return-value]  # the stubs lose the arguments

    return decorate


def link_page(*methods: str) -> Callable[[View[P]], LinkPage[P]]:
    """Make a page behind a secret link: kept by no cache, named to no other site, found by no search.

    The token in the address is the proof that a post is meant, and no other site knows it; a browser that
    sends no referrer sends no origin either, so the usual check of both cannot be made here.
    """

    def decorate(view: View[P]) -> LinkPage[P]:
        @wraps(view)
        def page(
            request: HttpRequest, station_slug: str, token: str, *args: P.args, **kwargs: P.kwargs
        ) -> HttpResponse:
            at_home = cast(HomeRequest, request)
            try:
                at_home.front = queries.front_behind(station_slug)
                at_home.guest, at_home.token = queries.guest_by_token(at_home.front, token), token
                at_home.LANGUAGE_CODE = at_home.guest.language
            except NotVisible as gone:
                return _secret(_say(request, gone))
            with (
                timezone.override(at_home.front.station.zone),
                translation.override(at_home.guest.language),
            ):
                try:
                    return _secret(view(at_home, *args, **kwargs))
                except Refused as refused:
                    return _secret(_say(request, refused))

        opened = csrf_exempt(require_http_methods(list(methods))(page))
        return login_not_required(opened)  # type: ignore[return-value]  # the stubs lose the arguments

    return decorate


def tablet_page(*methods: str) -> Callable[[View[P]], LinkPage[P]]:
    """Make a page for a rider with the desk's tablet: nobody is signed in, and a secret says who signs.

    The words are in the language asked for by `?in=`, else in the browser's.
    """

    def decorate(view: View[P]) -> LinkPage[P]:
        @wraps(view)
        def page(
            request: HttpRequest, station_slug: str, token: str, *args: P.args, **kwargs: P.kwargs
        ) -> HttpResponse:
            at_home, asked = cast(HomeRequest, request), request.GET.get("in", "")
            language = asked if asked in dict(LANGUAGES) else translation.get_language() or "en"
            at_home.LANGUAGE_CODE = language
            with translation.override(language):
                try:
                    at_home.handed = queries.handed_over(station_slug, token, now=clock.now())
                    at_home.token = token
                    with timezone.override(at_home.handed.rider.station.zone):
                        return _secret(view(at_home, *args, **kwargs))
                except Refused as refused:
                    return _secret(
                        render(request, "home/tablet.html", {"refused": refused}, status=refused.status)
                    )

        opened = csrf_exempt(require_http_methods(list(methods))(page))
        return login_not_required(opened)  # type: ignore[return-value]  # the stubs lose the arguments

    return decorate


def _say(request: HttpRequest, refused: Refused) -> HttpResponse:
    front = getattr(request, "front", None)
    return render(request, "home/said.html", {"refused": refused, "front": front}, status=refused.status)


def _secret(response: HttpResponse) -> HttpResponse:
    response.headers["Cache-Control"] = "no-store, private"
    response.headers["Referrer-Policy"] = "no-referrer"
    response.headers["X-Robots-Tag"] = "noindex, nofollow"
    return response
