"""Pages of lessons, and calendars for programs that read them."""

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from rentals.lessons import queries
from rentals.lib import clock
from rentals.lib.ical import MEDIA_TYPE, calendar

FEED_MAX_AGE_S = 300


@login_not_required
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """Answer with the calendar at a secret address; one that was revoked looks as if it had never been."""
    told = queries.told(token, now=clock.now())
    if told is None:
        raise Http404
    answer = HttpResponse(calendar(told.happenings, name=told.name), content_type=MEDIA_TYPE)
    answer["Cache-Control"] = f"private, max-age={FEED_MAX_AGE_S}"
    answer["X-Robots-Tag"] = "noindex"
    return answer
