"""What every page of a station says about the watch, for those who work there."""

from django.http import HttpRequest

from rentals.afloat import queries
from rentals.lib import clock


def watch(request: HttpRequest) -> dict[str, object]:
    """Return the bar over a station's page as its row tells it; HTMX asks for the rest at once: no query."""
    station, actor = getattr(request, "station", None), getattr(request, "actor", None)
    if station is None or actor is None or station.pk not in actor.station_ids:
        return {}
    return {"watched": station, "bar": {"missed": queries.missed(station, clock.now())}}
