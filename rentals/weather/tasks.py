"""The worker's turn at the sources: fetch what is due, keep what it brings, say what failed."""

from celery import shared_task
from django.conf import settings

from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.weather import services
from rentals.weather.fetch import fetch as ask
from rentals.weather.formats.reader import Given, read
from rentals.weather.formats.reading import Forecast, Readings, Unreadable

MOST_AT_ONCE = 20


@shared_task(name="weather.fetch")
def fetch(**_: object) -> None:
    """Fetch every source that is due, one after another and each on its own."""
    actor = service(System.FETCH)
    for _turn in range(MOST_AT_ONCE):
        errand = services.take_errand(actor=actor, now=clock.now())
        if errand is None:
            return
        now = clock.now()
        fetched = ask(
            errand.url,
            etag=errand.etag or None,
            last_modified=errand.last_modified or None,
            user_agent=settings.USER_AGENT,
            private=settings.FETCH_PRIVATE,
            now=now,
        )
        content: Forecast | Readings | None = None
        error = fetched.error
        if fetched.body is not None:
            try:
                _kind, content = read(
                    fetched.body, Given(now=now, zone=errand.zone, height_m=errand.height_m)
                )
            except Unreadable as problem:
                error = f"The source sent something that cannot be read. {problem}"
        services.end_errand(
            actor=actor, errand=errand, fetched=fetched, content=content, error=error, now=clock.now()
        )
