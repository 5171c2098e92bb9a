"""The sheet of checks that a device keeps ready for when the connection is lost."""

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_safe

from rentals.bench import queries
from rentals.lib import clock
from rentals.people.doors import StaffRequest


@require_safe
def checks_ready(request: HttpRequest) -> HttpResponse:
    """Show every check due today at the person's stations, without a name in it."""
    found = queries.checks_ready(cast(StaffRequest, request).actor, now=clock.now())
    response = render(request, "bench/ready.html", {"found": found})
    patch_cache_control(response, no_store=True)
    return response
