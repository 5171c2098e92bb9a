"""The price list: money terms, taxes, goods, seasons and prices; every change is told to the journal."""

import re
from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import IntegrityError

from rentals.audit import services as journal
from rentals.lib.access import Act, Actor
from rentals.lib.money import CURRENCIES, Money, money
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.writes import savepoint, write
from rentals.stations import services as stations
from rentals.takings.models import LONGEST_WAIT_DAYS, Good, Price, Season, Tax, TaxRate, Terms, Unit
from rigging.units import BadValue

MOST_MINOR: Final = 2**31 - 1
_CODE: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_RANGES: Final = {
    "half_day_min": (60, 720, "minutes"),
    "hour_step_min": (5, 60, "minutes"),
    "late_grace_min": (0, 120, "minutes"),
    "late_step_min": (5, 240, "minutes"),
    "deposit_pct": (0, 100, "percent"),
    "credit_days": (1, LONGEST_WAIT_DAYS, "days"),
}


class UnableToPrice(Refused):
    """The price list does not hold together; fields say where."""

    slug = "price-refused"
    title = "Check the price list"


@dataclass(frozen=True, slots=True, kw_only=True)
class TermsFacts:
    """How a station handles money. Amounts are whole units of the currency."""

    currency: str
    seller_name: str
    half_day_min: int = 240
    hour_step_min: int = 30
    late_grace_min: int = 10
    late_step_min: int = 15
    late_step: Decimal = Decimal(0)
    late_most: Decimal = Decimal(0)
    deposit_pct: int = 0
    excess: Decimal = Decimal(0)
    credit_days: int = 365
    seller_address: str = ""
    tax_number: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GoodFacts:
    """What is sold."""

    code: str
    name: str
    kind: str
    tax: str
    included: str = ""
    usual: bool = False
    sold: bool = True


@write
def keep_terms(*, actor: Actor, station_id: int, facts: TermsFacts, now: datetime) -> Terms:
    """Set how a station handles money; its currency stays once money was taken.

    Raises:
        UnableToPrice: a value out of its range, no currency of that code, or the currency is in use.
    """
    actor.require(Act.SET_PRICES, station_id=station_id)
    values = _terms_values(facts)
    known = Terms.objects.select_for_update(of=("self",)).filter(station_id=station_id).first()
    if known is not None and known.currency != facts.currency and _has_prices(station_id):
        raise UnableToPrice.at("currency", f"There are prices in {known.currency} already; it stays.")
    try:
        stations.keep_currency(station_id=station_id, currency=facts.currency)
    except stations.UnableToSetStation as refused:
        raise UnableToPrice(refused.sentence, fields=refused.fields) from refused
    values |= {"set_at": now, "set_by_id": actor.user_id}
    Terms.objects.update_or_create(station_id=station_id, defaults=values)
    terms = Terms.objects.get(station_id=station_id)
    _tell(actor, station_id, "Money terms set", now, asdict(facts))
    return terms


@write
def set_tax_rate(
    *,
    actor: Actor,
    station_id: int,
    name: str,
    pct: Decimal,
    since: date,
    once: UUID | None = None,
    now: datetime,
) -> TaxRate:
    """Set the rate of a band of tax from a day on; the band is made when it is new.

    Raises:
        UnableToPrice: no name, a rate out of its range, or that day has its rate.
    """
    actor.require(Act.SET_PRICES, station_id=station_id)
    claim = journal.claim(
        actor=actor, act=Act.SET_PRICES, key=once, asked=["tax", station_id, name, pct, since], now=now
    )
    if claim.result_id is not None:
        return TaxRate.objects.get(pk=claim.result_id)
    if not name.strip():
        raise UnableToPrice.at("name", "Enter what the tax is called, such as standard.")
    if not (pct.is_finite() and 0 <= pct < 100 and pct == round(pct, 2)):
        raise UnableToPrice.at("pct", "Enter a rate from 0 to 99.99 percent, with at most two decimals.")
    tax, _made = Tax.objects.get_or_create(station_id=station_id, name=name.strip())
    try:
        with savepoint():
            rate = TaxRate.objects.create(tax=tax, pct=pct, since=since)
    except IntegrityError as error:
        raise UnableToPrice.at("since", "That day has its rate already; choose another day.") from error
    _tell(actor, station_id, f"Tax {tax}: {pct} % from {since}", now)
    journal.settle(claim, rate.pk)
    return rate


@write
def keep_good(*, actor: Actor, station_id: int, facts: GoodFacts, now: datetime) -> Good:
    """Put a good on the list, or change the one of that code; the usual one of a kind gives way to a new.

    Raises:
        UnableToPrice: no name, a code or kind that cannot be, or no such tax.
    """
    actor.require(Act.SET_PRICES, station_id=station_id)
    tax = Tax.objects.filter(station_id=station_id, name=facts.tax).first()
    if tax is None:
        raise UnableToPrice.at("tax", "Choose a tax of the list, or set its rate first.")
    if not _CODE.fullmatch(facts.code) or len(facts.code) > 30:
        raise UnableToPrice.at("code", "Enter a short code of small letters, digits and dashes: full-kit.")
    if not facts.name.strip():
        raise UnableToPrice.at("name", "Enter what it is called.")
    if facts.kind not in Good.Kind.values:
        raise UnableToPrice.at("kind", f"Choose one of {', '.join(Good.Kind.values)}.")
    if facts.usual and not facts.sold:
        raise UnableToPrice.at("usual", "What is not sold cannot be the usual one.")
    if facts.usual:
        others = Good.objects.filter(station_id=station_id, kind=facts.kind, usual=True)
        others.exclude(code=facts.code).update(usual=False)
    values = {
        "name": facts.name.strip(),
        "kind": facts.kind,
        "tax": tax,
        "included": facts.included.strip(),
        "usual": facts.usual,
        "sold": facts.sold,
    }
    good, _made = Good.objects.update_or_create(station_id=station_id, code=facts.code, defaults=values)
    _tell(actor, station_id, f"{good} on the price list" if good.sold else f"{good} off the list", now)
    return good


@write
def keep_season(
    *,
    actor: Actor,
    station_id: int,
    name: str,
    first_day: date,
    last_day: date,
    once: UUID | None = None,
    now: datetime,
) -> Season:
    """Add a season with prices of its own, both days included.

    Raises:
        UnableToPrice: no name, an end before the start, or days that another season has.
    """
    actor.require(Act.SET_PRICES, station_id=station_id)
    asked = ["season", station_id, name, first_day, last_day]
    claim = journal.claim(actor=actor, act=Act.SET_PRICES, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Season.objects.get(pk=claim.result_id)
    if not name.strip():
        raise UnableToPrice.at("name", "Enter what the season is called.")
    if last_day < first_day:
        raise UnableToPrice.at("last_day", "Enter a last day on or after the first.")
    met = Season.objects.filter(
        station_id=station_id, dropped_at=None, first_day__lte=last_day, last_day__gte=first_day
    ).first()
    if met is not None:
        raise UnableToPrice.at("first_day", f"{met} has {met.first_day} to {met.last_day}; drop it first.")
    season = Season.objects.create(
        station_id=station_id, name=name.strip(), first_day=first_day, last_day=last_day, made_at=now
    )
    _tell(actor, station_id, f"Season {season}: {first_day} to {last_day}", now)
    journal.settle(claim, season.pk)
    return season


@write
def drop_season(*, actor: Actor, station_id: int, season_id: int, now: datetime) -> Season:
    """Drop a season and with it its prices; what was quoted before stays as it was.

    Raises:
        NotVisible: no such season here.
    """
    actor.require(Act.SET_PRICES, station_id=station_id)
    season = Season.objects.filter(station_id=station_id, pk=season_id, dropped_at=None).first()
    if season is None:
        raise NotVisible("There is no such season here.")
    season.dropped_at = now
    season.save(update_fields=["dropped_at"])
    _tell(actor, station_id, f"Season {season} dropped", now)
    return season


@write
def set_price(
    *,
    actor: Actor,
    station_id: int,
    good: str,
    unit: str,
    amount: Decimal | None,
    valid_from: date,
    season_id: int | None = None,
    card_hours: int | None = None,
    once: UUID | None = None,
    now: datetime,
) -> Price:
    """Set what a unit costs from a day on; no amount takes it off the list.

    Raises:
        UnableToPrice: no such good, unit or season; too many decimals; a card without hours.
    """
    actor.require(Act.SET_PRICES, station_id=station_id)
    asked = ["price", station_id, good, unit, amount, valid_from, season_id, card_hours]
    claim = journal.claim(actor=actor, act=Act.SET_PRICES, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Price.objects.get(pk=claim.result_id)
    terms = Terms.objects.filter(station_id=station_id).first()
    if terms is None:
        raise UnableToPrice("Set the station's money terms first: they say its currency.")
    sold = Good.objects.filter(station_id=station_id, code=good).first()
    if sold is None:
        raise UnableToPrice.at("good", "Choose something of the list.")
    if unit not in Unit.values:
        raise UnableToPrice.at("unit", f"Choose one of {', '.join(Unit.values)}.")
    if (
        season_id is not None
        and not Season.objects.filter(pk=season_id, station_id=station_id, dropped_at=None).exists()
    ):
        raise UnableToPrice.at("season_id", "Choose a season of the list.")
    if (unit == Unit.CARD) != (card_hours is not None) and amount is not None:
        raise UnableToPrice.at("card_hours", "Enter the hours on a season card, and only there.")
    if card_hours is not None and not 1 <= card_hours <= 1000:
        raise UnableToPrice.at("card_hours", "Enter 1 to 1000 hours.")
    price = Price.objects.create(
        good=sold,
        season_id=season_id,
        unit=unit,
        amount_minor=None if amount is None else minor_of(amount, terms.currency, "amount"),
        card_hours=card_hours if unit == Unit.CARD else None,
        valid_from=valid_from,
        set_at=now,
        set_by_id=actor.user_id,
    )
    said = "off the list" if amount is None else str(money(amount, terms.currency))
    _tell(actor, station_id, f"{sold} per {Unit(unit).label} from {valid_from}: {said}", now)
    journal.settle(claim, price.pk)
    return price


def minor_of(amount: Decimal, currency: str, field: str) -> int:
    """Return an amount in minor units, not negative.

    Raises:
        UnableToPrice: more decimals than the currency has, negative, or too large.
    """
    try:
        found: Money = money(amount, currency)
    except BadValue as wrong:
        raise UnableToPrice.at(field, f"Enter {wrong.allowed} in {currency}.") from wrong
    if not 0 <= found.minor <= MOST_MINOR:
        raise UnableToPrice.at(field, "Enter an amount from 0 up, below twenty million.")
    return found.minor


def _terms_values(facts: TermsFacts) -> dict[str, object]:
    if facts.currency not in CURRENCIES:
        raise UnableToPrice.at("currency", "Enter a currency by its code of ISO 4217, such as EUR.")
    if not facts.seller_name.strip():
        raise UnableToPrice.at("seller_name", "Enter the name that receipts carry.")
    for name, (low, high, unit) in _RANGES.items():
        if not low <= getattr(facts, name) <= high:
            raise UnableToPrice.at(name, f"Enter {low} to {high} {unit}.")
    told = asdict(facts)
    del told["currency"]
    minor = {
        f"{name}_minor": minor_of(told.pop(name), facts.currency, name)
        for name in ("late_step", "late_most", "excess")
    }
    if minor["late_most_minor"] < minor["late_step_minor"]:
        raise UnableToPrice.at("late_most", "Enter at least the fee of one step.")
    return {**{name: each.strip() if isinstance(each, str) else each for name, each in told.items()}, **minor}


def _has_prices(station_id: int) -> bool:
    return Price.objects.filter(good__station_id=station_id).exists()


def _tell(
    actor: Actor, station_id: int, text: str, now: datetime, data: dict[str, object] | None = None
) -> None:
    said = {name: str(value) for name, value in (data or {}).items()}
    line = journal.Line("station", station_id, text, said)
    journal.record(actor=actor, act=Act.SET_PRICES, station_id=station_id, lines=[line], now=now)
