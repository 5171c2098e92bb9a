"""The close of a day: cash counted against the ledger, the difference posted, lapsed credits written off."""

from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from rentals.audit import services as journal
from rentals.lib.access import Act, Actor
from rentals.lib.money import Money
from rentals.lib.problems import Conflict
from rentals.lib.writes import inside_write, write
from rentals.takings import queries
from rentals.takings.models import Account, DayClose, LedgerEntry
from rentals.takings.services.prices import UnableToPrice, minor_of
from rentals.takings.services.till import About, Till, UnableToTake, open_till, post, tell


class ClosedMeanwhile(Conflict):
    """The day was closed by somebody else, or is not over."""

    slug = "day-closed"
    title = "That day is closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """What lay in the drawer, what stays in it for the next day, and why where they differ."""

    cash: Decimal
    left: Decimal
    note: str = ""


@write
def close_day(
    *,
    actor: Actor,
    station_id: int,
    day: date,
    counted: Counted,
    once: UUID | None = None,
    now: datetime,
) -> DayClose:
    """Close the takings of a day for good; what comes later counts for the next.

    The difference between count and ledger is posted, and so is the cash that leaves the drawer; credits and
    vouchers whose last day is past lapse.

    Raises:
        ClosedMeanwhile: the day or a later one is closed, or it has not come.
        UnableToTake: more is left than was counted, or a difference without a word on it.
    """
    till = open_till(actor=actor, act=Act.CLOSE_DAY, station_id=station_id, now=now)
    asked = ["close", station_id, day, asdict(counted)]
    claim = journal.claim(actor=actor, act=Act.CLOSE_DAY, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return DayClose.objects.get(pk=claim.result_id)
    _refuse_day(till, day)
    cash, left = _minor(till, counted.cash, "cash"), _minor(till, counted.left, "left")
    if left > cash:
        raise UnableToTake.at("left", "Enter at most what was counted.")
    entries = LedgerEntry.objects.filter(station_id=station_id)
    expected = till.money(queries.balance_minor(entries, Account.CASH))
    if cash != expected and not counted.note.strip():
        more = f"{cash - expected} more" if expected < cash else f"{expected - cash} less"
        raise UnableToTake.at(
            "note", f"The drawer should hold {expected}; that is {more}. Count again, or say why."
        )
    closing = Till(actor=actor, act=Act.CLOSE_DAY, terms=till.terms, day=day, now=now)
    post(closing, Account.CASH, Account.DIFFERENCE, cash - expected, "Counted at the close", About())
    post(closing, Account.SAFE, Account.CASH, cash - left, "Taken out of the drawer at the close", About())
    _lapse(closing)
    close = DayClose.objects.create(
        station_id=station_id,
        day=day,
        expected_minor=expected.minor,
        counted_minor=cash.minor,
        left_minor=left.minor,
        currency=till.terms.currency,
        note=counted.note.strip()[:300],
        at=now,
        by_id=actor.user_id,
    )
    said = f"Closed {day}: counted {cash}, expected {expected}"
    tell(closing, "station", station_id, said)
    journal.settle(claim, close.pk)
    return close


@write
def put_cash(
    *, actor: Actor, station_id: int, amount: Decimal, once: UUID | None = None, now: datetime
) -> Money:
    """Put cash from the safe into the drawer, for change.

    Raises:
        UnableToTake: no amount.
    """
    till = open_till(actor=actor, act=Act.CLOSE_DAY, station_id=station_id, now=now)
    money = _minor(till, amount, "amount")
    claim = journal.claim(
        actor=actor, act=Act.CLOSE_DAY, key=once, asked=["cash", station_id, amount], now=now
    )
    if claim.result_id is not None:
        return money
    if not money:
        raise UnableToTake.at("amount", "Enter an amount above nothing.")
    post(till, Account.CASH, Account.SAFE, money, "Put into the drawer for change", About())
    tell(till, "station", station_id, f"Put {money} into the drawer")
    journal.settle(claim, station_id)
    return money


@inside_write
def _lapse(till: Till) -> None:
    """Write off what is left of credits and vouchers whose last day is past."""
    for voucher, left in queries.lapsed(till.station_id, till.day):
        text = f"Lapsed: {voucher.code}"
        post(till, Account(voucher.kind), Account.LAPSED, left, text, About(voucher=voucher))


def _refuse_day(till: Till, day: date) -> None:
    today = till.terms.station.local(till.now).date()
    if day > today:
        raise ClosedMeanwhile("That day has not come. Close it when its takings are in.")
    last = DayClose.objects.filter(station_id=till.station_id, day__gte=day).order_by("day").first()
    if last is not None:
        raise ClosedMeanwhile(f"The takings are closed up to {last.day:%d %b %Y} already. Reload the page.")
    later = LedgerEntry.objects.filter(station_id=till.station_id, day__gt=day).order_by("day").first()
    if later is not None:
        raise ClosedMeanwhile(f"There are takings of {later.day:%d %b %Y} already. Close that day instead.")


def _minor(till: Till, amount: Decimal, field: str) -> Money:
    try:
        return till.money(minor_of(amount, till.terms.currency, field))
    except UnableToPrice as refused:
        raise UnableToTake(refused.sentence, fields=refused.fields) from refused
