"""Labels of the shed: sheets of codes, each of which opens its item when it is scanned."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import segno
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from rentals.bench import queries
from rentals.fleet.models import Item, Kind
from rentals.lib.forms import whole_number
from rentals.people.doors import StaffRequest, station_page

PER_SHEET: Final = 24
"""Three by eight labels of 70 by 37 mm fill an A4 sheet. Status: common practice, no source."""

SHEETS_AT_ONCE: Final = 3
"""Sheets on one page, which keeps it under 200 kB. Status: policy."""

MOST_TICKS: Final = 300
"""Items of a shed up to which each has a tick on one page; of more, one kind at a time. Status: policy."""

QUIET_MODULES: Final = 4
"""Light modules around a code. Source: ISO/IEC 18004:2015, 6.3.8. Status: published."""


@dataclass(frozen=True, slots=True)
class Label:
    """An item and its code."""

    item: Item
    code: SafeString


@dataclass(frozen=True, slots=True)
class OfKind:
    """How many items there are of a kind, and those that are to be ticked one by one."""

    kind: str
    count: int
    items: Sequence[Item]
    is_open: bool


@station_page("GET")
def labels(request: StaffRequest) -> HttpResponse:
    """Choose items, then print their labels: some of them, whole kinds, or the whole shed."""
    shed = queries.to_label(request.station)
    chosen = _chosen(request, shed)
    if not chosen:
        opened = request.GET.get("of", "")
        context = {
            "station": request.station,
            "page": "kit",
            "shed": shed,
            "kinds": [_of_kind(shed, kind, opened) for kind in Kind.values],
            "asked": set(request.GET) - {"of"},
        }
        return render(request, "bench/labels.html", context)
    at_once = PER_SHEET * SHEETS_AT_ONCE
    written = request.GET.get("from", "")
    first = whole_number(written) or 1
    first = min(max(first, 1), len(chosen))
    shown = chosen[first - 1 : first - 1 + at_once]
    made = [_label(request, item) for item in shown]
    context = {
        "station": request.station,
        "page": "kit",
        "sheets": [made[at : at + PER_SHEET] for at in range(0, len(made), PER_SHEET)],
        "first": first,
        "last": first - 1 + len(made),
        "count": len(chosen),
        "before": _address(request, max(first - at_once, 1)) if first > 1 else "",
        "after": _address(request, first + at_once) if first - 1 + len(made) < len(chosen) else "",
    }
    return render(request, "bench/label_sheets.html", context)


def _chosen(request: StaffRequest, shed: Sequence[Item]) -> list[Item]:
    if "all" in request.GET:
        return list(shed)
    tags, kinds = set(request.GET.getlist("tag")), set(request.GET.getlist("kind"))
    return [item for item in shed if item.tag in tags or item.model.kind in kinds]


def _of_kind(shed: Sequence[Item], kind: str, opened: str) -> OfKind:
    items = [item for item in shed if item.model.kind == kind]
    listed = len(shed) <= MOST_TICKS or kind == opened
    return OfKind(kind, len(items), items if listed else [], is_open=kind == opened)


def _label(request: StaffRequest, item: Item) -> Label:
    address = request.build_absolute_uri(reverse("item", args=[request.station.slug, item.tag]))
    drawn = segno.make(address, micro=False, error="m").svg_inline(border=QUIET_MODULES, omitsize=True)
    return Label(item, mark_safe(drawn))  # noqa: S308 - made of modules, no text of ours is in it


def _address(request: StaffRequest, first: int) -> str:
    asked = request.GET.copy()
    asked["from"] = str(first)
    return f"?{asked.urlencode()}"
