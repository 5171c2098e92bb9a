"""Credits and vouchers: what is left on each, until when, and what was paid with it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet, Sum

from rentals.lib.access import Actor
from rentals.lib.money import Money
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station
from rentals.takings.models import Account, LedgerEntry, Voucher

MOST_SHOWN = 200


@dataclass(frozen=True, slots=True)
class VoucherLeft:
    """A credit or voucher and what is left on it."""

    voucher: Voucher
    left: Money
    on: date

    @property
    def state(self) -> str:
        """Whether it still pays, in a word."""
        if self.voucher.last_day < self.on:
            return "past its last day"
        return "good" if self.left else "used up"

    @property
    def good(self) -> bool:
        """Whether it still pays."""
        return self.state == "good"


def vouchers_at(
    station: Station, *, on: date, words: str = "", everything: bool = False
) -> list[VoucherLeft]:
    """Return credits and vouchers of a station, the one that ends first first: two queries.

    Args:
        station: whose.
        on: the day of the till.
        words: letters of the code or of the party's name; empty for all.
        everything: those used up or past their last day too.
    """
    found = Voucher.objects.filter(station=station).select_related("party")
    words = words.strip()
    if words:
        found = found.filter(Q(code__icontains=words) | Q(party__contact_name__icontains=words))
    return [each for each in _left(found, on) if everything or words or each.good][:MOST_SHOWN]


@dataclass(frozen=True, slots=True)
class VoucherStory:
    """A credit or voucher with all that was posted of it."""

    held: VoucherLeft
    entries: tuple[LedgerEntry, ...]


def voucher_for(actor: Actor, station: Station, code: str, *, on: date) -> VoucherStory:
    """Return a credit or voucher of a station by its code, with what was paid with it: two queries.

    Raises:
        NotVisible: there is none there for this actor.
    """
    seen = Voucher.objects.filter(station=station, station_id__in=actor.station_ids, code=code.upper())
    voucher = seen.select_related("party", "by").first()
    if voucher is None:
        raise NotVisible("There is no such credit or voucher here.")
    entries = LedgerEntry.objects.filter(voucher=voucher).select_related("party", "by").order_by("id")
    return VoucherStory(
        VoucherLeft(voucher, Money(sum(map(_worth, entries)), voucher.currency), on), tuple(entries)
    )


def _left(found: QuerySet[Voucher], on: date) -> Iterable[VoucherLeft]:
    kinds = (Account.CREDIT, Account.VOUCHER)
    sums = (
        LedgerEntry.objects.filter(voucher__in=found)
        .values("voucher")
        .annotate(
            given=Sum("amount_minor", filter=Q(credit__in=kinds), default=0),
            used=Sum("amount_minor", filter=Q(debit__in=kinds), default=0),
        )
    )
    left = {row["voucher"]: row["given"] - row["used"] for row in sums}
    for voucher in found.order_by("last_day", "id"):
        yield VoucherLeft(voucher, Money(left.get(voucher.pk, 0), voucher.currency), on)


def _worth(entry: LedgerEntry) -> int:
    """What an entry puts on its voucher, or takes from it where negative."""
    return entry.amount_minor if entry.credit in (Account.CREDIT, Account.VOUCHER) else -entry.amount_minor
