"""The demo's price list and first takings, through the services that a manager uses."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from rentals.bookings.models import Outing, Party
from rentals.desk import demo
from rentals.lib.access import Actor
from rentals.lib.when import day_bounds
from rentals.stations.models import Station
from rentals.takings import services as takings
from rentals.takings.queries import party_account


def set_prices(station: Station, manager: Actor, *, now: datetime) -> None:
    """Set a station's terms, taxes, season and prices as of before the demo's season."""
    told = demo.told("prices")
    at = now - timedelta(days=demo.HISTORY_DAYS + 30)
    since = date(station.local(at).year, 1, 1)
    who: dict[str, Any] = {"actor": manager, "station_id": station.pk, "now": at}
    amounts = {name: Decimal(told["terms"][name]) for name in ("late_step", "late_most", "excess")}
    terms = {**told["terms"], **amounts, "seller_name": f"{station.name} Windsurf"}
    takings.keep_terms(**who, facts=takings.TermsFacts(**terms))
    takings.set_cancel_rule(**who, **told["cancelling"])
    for name, pct in told["taxes"].items():
        takings.set_tax_rate(**who, name=name, pct=Decimal(pct), since=since)
    seasons = [
        takings.keep_season(
            **who,
            name=f"{each['name']} {year}",
            first_day=date.fromisoformat(f"{year}-{each['from']}"),
            last_day=date.fromisoformat(f"{year}-{each['until']}"),
        )
        for each in told["seasons"]
        for year in (since.year, since.year + 1)
    ]
    for facts in told["goods"]:
        named = {name: facts[name] for name in ("code", "name", "kind", "tax")}
        rest = {name: facts[name] for name in ("included", "usual") if name in facts}
        takings.keep_good(**who, facts=takings.GoodFacts(**named, **rest))
        for season in (None, *seasons):
            for unit, amount in facts.get("in_season" if season else "prices", {}).items():
                takings.set_price(
                    **who,
                    good=facts["code"],
                    unit=unit,
                    amount=Decimal(amount),
                    valid_from=since,
                    season_id=season.pk if season else None,
                    card_hours=facts.get("card_hours") if unit == "card" else None,
                )


def sell_ahead(station: Station, manager: Actor, *, now: datetime) -> None:
    """Sell a season card, a voucher and a rack for own kit to parties of the demo's day."""
    start, end = day_bounds(station.local(now).date(), station.zone)
    outings = Outing.objects.filter(station=station, starts_at__gte=start, starts_at__lt=end)
    for number, outing in enumerate(outings.select_related("booking").order_by("-starts_at", "-id")[:3]):
        who: dict[str, Any] = {"actor": manager, "party_id": outing.booking.party_id, "now": now}
        day = station.local(now).date()
        if number == 0:
            takings.sell_pass(**who, rider_id=outing.rider_id, good="full-kit", unit="card", first_day=day)
        elif number == 1:
            takings.sell_voucher(**who, paid=takings.Paid(amount=Decimal(60), method="terminal"))
        else:
            what = "Board and two sails, rack 4"
            takings.store_kit(**who, good="storage", unit="week", count=1, first_day=day, what=what)


def take_money(station: Station, manager: Actor, *, now: datetime) -> None:
    """Charge the first parties of the demo's day: one pays by card, one in part with an excess held."""
    start, end = day_bounds(station.local(now).date(), station.zone)
    outings = Outing.objects.filter(station=station, starts_at__gte=start, starts_at__lt=end)
    parties = Party.objects.filter(pk__in=outings.values("booking__party")).order_by("id")[:2]
    for number, party in enumerate(parties):
        who: dict[str, Any] = {"actor": manager, "party_id": party.pk, "now": now}
        takings.charge_due(**who)
        owed = party_account(party, station, now=now).balance
        if number:
            paid = takings.Paid(amount=Decimal(20), method="cash")
            takings.take_payment(**who, paid=paid)
            takings.hold_excess(**who, paid=takings.Paid(amount=Decimal(150), method="terminal"))
        else:
            takings.take_payment(**who, paid=takings.Paid(amount=owed.amount, method="terminal"))
