"""Live parts: what of a page HTMX fetches again every few seconds, or while somebody types in a filter."""

import re
from collections.abc import Mapping
from datetime import datetime
from hashlib import sha256
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_cache_control, patch_vary_headers

EVERY_S: Final = 5
_KEYS: Final = re.compile(rb'name="(?:csrfmiddlewaretoken|once)" value="[^"]*"')


def live(
    request: HttpRequest, page: str, part: str, context: Mapping[str, Any], *, now: datetime
) -> HttpResponse:
    """Render a page around its live part, or the part alone when HTMX asks for it.

    A part that would show what is on the screen already is not sent again (204), so nothing flickers and
    nothing is read out twice; only the time of renewal moves.

    Args:
        request: a request that HtmxMiddleware has seen.
        page: template of the whole page; it includes `parts/live.html`.
        part: template of the part.
        context: what both show.
        now: the moment that the part tells of.
    """
    at = f"{timezone.localtime(now):%H:%M:%S}"
    full = {**context, "live_part": part, "live_at": at, "live_every_s": EVERY_S}
    if not request.htmx:  # type: ignore[attr-defined]  # set by HtmxMiddleware
        response = render(request, page, full)
        patch_vary_headers(response, ["HX-Request"])
        return response
    response = render(request, part, full)
    mark = sha256(_KEYS.sub(b"", response.content)).hexdigest()[:16]
    if request.headers.get("Marram-Seen") == mark:
        response = HttpResponse(status=204)
    return _as_part(response, {"Marram-Part": mark, "Marram-At": at})


def found(request: HttpRequest, page: str, part: str, context: Mapping[str, Any]) -> HttpResponse:
    """Render a list with its filter, or the list alone while somebody types in the filter."""
    asked_part = bool(request.htmx)  # type: ignore[attr-defined]  # set by HtmxMiddleware
    response = render(request, part if asked_part else page, {**context, "live_part": part})
    return _as_part(response, {}) if asked_part else response


def _as_part(response: HttpResponse, headers: Mapping[str, str]) -> HttpResponse:
    for name, value in headers.items():
        response[name] = value
    patch_vary_headers(response, ["HX-Request"])
    # Going back must bring the page, never a part of it kept under the same address.
    patch_cache_control(response, no_store=True)
    return response
