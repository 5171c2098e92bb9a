"""The rig card, drawn with each setting and its reason, on a phone or printed on A6; a lesson's spares."""

import segno
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.safestring import mark_safe

from rentals.bookings import queries as bookings
from rentals.fleet.mapping import model_to_core
from rentals.fleet.models import RIG_PARTS, Item, Kind
from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rentals.people.doors import StaffRequest, station_page
from rentals.rigs import queries, services
from rentals.rigs.mapping import shown_settings
from rentals.rigs.models import Card
from rigging import trim, wind
from rigging.drawing import rig_svg
from rigging.units import BadValue


@station_page("GET")
def card(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Show an outing's rig card."""
    outing = bookings.outing_for(request.actor, request.station, outing_id)
    made = queries.card_of(outing)
    if made is None:
        raise NotVisible("There is no rig card yet. Choose the kit first.")
    items = queries.items_on(made)
    address = request.build_absolute_uri(reverse("outing", args=[request.station.slug, outing.pk]))
    context = {
        "station": request.station,
        "page": "today",
        "outing": outing,
        "card": made,
        "items": items.items(),
        "beach_mean_ms": made.inputs["slot"]["mean_10_m_ms"] * wind.BEACH_FACTOR,
        "beach_gust_ms": made.inputs["slot"]["gust_10_m_ms"] * wind.BEACH_FACTOR,
        "settings": shown_settings(made.settings),
        "steps": trim.steps(),
        "drawing": mark_safe(_draw(made, items, str(outing.rider))),  # noqa: S308 - the core escapes its texts
        "code": mark_safe(segno.make(address, micro=False).svg_inline(border=2, omitsize=True)),  # noqa: S308
    }
    return render(request, "rigs/card.html", context)


@station_page("POST")
def spares(request: StaffRequest, lesson_id: int) -> HttpResponse:
    """Keep spare rigs for a lesson."""
    kept = services.keep_spares(actor=request.actor, lesson_id=lesson_id, now=clock.now())
    names = "; ".join(f"{rig.items[Kind.SAIL].tag} {rig.why}" for rig in kept)
    messages.success(request, f"Kept for the beach: {names}")
    return redirect("lesson", request.station.slug, lesson_id)


def _draw(made: Card, items: dict[Kind, Item], title: str) -> str:
    """Return the rig drawn to scale, or nothing where a specification is too far off to be drawn."""
    try:
        return _drawing(made, items, title)
    except BadValue:
        return ""


def _drawing(made: Card, items: dict[Kind, Item], title: str) -> str:
    numbers = {number.name: number for number in shown_settings(made.settings)}
    named = {kind.value: model_to_core(items[kind].model, items[kind].tag) for kind in RIG_PARTS}
    return rig_svg(
        **named,  # type: ignore[arg-type]
        extension_cm=numbers["extension"].value,
        boom_cm=numbers["boom length"].value,
        boom_height_cm=numbers["boom height"].value,
        head_strap_cm=numbers["head strap"].value,
        downhaul=f"+{numbers['downhaul'].value:g} cm",
        outhaul=f"+{numbers['outhaul'].value:g} cm",
        title=f"Rig for {title}",
    )
