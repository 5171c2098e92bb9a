"""The takings of a day: what came in and how, what was sold, what the drawer should hold; receipts; CSV."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from django.db.models import Q, Sum

from rentals.bookings.models import Outing, Party
from rentals.lib.access import Actor
from rentals.lib.money import Money
from rentals.lib.problems import NotVisible
from rentals.lib.tables import csv_text
from rentals.lib.when import day_bounds
from rentals.stations.models import Station
from rentals.takings.mapping.book import UnableToQuote
from rentals.takings.mapping.quotes import tax_lines
from rentals.takings.models import Account, Charge, DayClose, LedgerEntry, Receipt, Terms
from rentals.takings.queries.accounts import balance_minor, open_parties, summed

COLUMNS: Final = (
    *("number", "day", "at", "debit", "credit", "amount", "currency", "text"),
    *("party", "charge", "receipt", "voucher"),
)
LONGEST_EXPORT_DAYS: Final = 400
AT_ONCE: Final = 1000
"""Entries that are read at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayTakings:
    """A day's takings as their page shows them."""

    day: date
    terms: Terms
    came_in: tuple[tuple[Account, Money], ...]
    sold: tuple[tuple[str, int, Money], ...]
    taxes: tuple[tuple[Decimal, Money, Money], ...]
    charged: Money
    drawer: Money
    close: DayClose | None
    open: tuple[tuple[Party, Money], ...]
    today: tuple[Party, ...]


def day_takings(station: Station, day: date) -> DayTakings:
    """Return the takings of a day and who still owes: eight queries.

    Raises:
        UnableToQuote: the station has no money terms yet.
    """
    terms = terms_of(station)
    entries = list(LedgerEntry.objects.filter(station=station, day=day))
    charges = list(Charge.objects.filter(station=station, day=day).select_related("good"))
    counts: Counter[str] = Counter()
    sums: Counter[str] = Counter()
    for charge in charges:
        counts[charge.good.name] += charge.count if charge.reverses_id is None else -charge.count
        sums[charge.good.name] += charge.gross_minor
    till = (Account.CASH, Account.TERMINAL, Account.BANK)
    paid = [entry for entry in entries if entry.payment_id is not None]
    everything = LedgerEntry.objects.filter(station=station)
    return DayTakings(
        day=day,
        terms=terms,
        came_in=tuple((account, terms.money(summed(paid, account))) for account in till),
        sold=tuple((name, counts[name], terms.money(sums[name])) for name in sorted(sums)),
        taxes=_taxes(terms, charges),
        charged=terms.money(sum(charge.gross_minor for charge in charges)),
        drawer=terms.money(balance_minor(everything, Account.CASH)),
        close=DayClose.objects.filter(station=station, day=day).select_related("by").first(),
        open=tuple((party, terms.money(minor)) for party, minor in open_parties(station)),
        today=tuple(_parties_of(station, day)),
    )


@dataclass(frozen=True, slots=True)
class DaySales:
    """What a day sold by the ledger, tax left out: everything, and what was for outings."""

    day: date
    everything: Money
    outings: Money


def sales_by_day(station: Station, first: date, after: date) -> list[DaySales]:
    """Return the sales of each day of a span by currency, what was taken back subtracted: one query."""
    sold, back = Q(credit=Account.SALES), Q(debit=Account.SALES)
    outing = Q(charge__outing__isnull=False)
    rows = (
        LedgerEntry.objects.filter(sold | back, station=station, day__gte=first, day__lt=after)
        .values_list("day", "currency")
        .annotate(
            everything=Sum("amount_minor", filter=sold, default=0)
            - Sum("amount_minor", filter=back, default=0),
            outings=Sum("amount_minor", filter=sold & outing, default=0)
            - Sum("amount_minor", filter=back & outing, default=0),
        )
        .order_by("day", "currency")
    )
    return [
        DaySales(day, Money(everything, currency), Money(outings, currency))
        for day, currency, everything, outings in rows
    ]


def terms_of(station: Station) -> Terms:
    """Return a station's money terms: one query.

    Raises:
        UnableToQuote: it has none yet.
    """
    terms = Terms.objects.filter(station=station).first()
    if terms is None:
        raise UnableToQuote(f"{station.name} has no prices yet. Ask a manager to set them under Takings.")
    return terms


def party_for(actor: Actor, station: Station, party_id: int) -> Party:
    """Return a party of a station: one query.

    Raises:
        NotVisible: there is none there for this actor.
    """
    seen = Party.objects.filter(station=station, station_id__in=actor.station_ids, pk=party_id).first()
    if seen is None:
        raise NotVisible("There is no such party here.")
    return seen


def receipt_for(actor: Actor, station: Station, year: int, number: int) -> Receipt:
    """Return a receipt by its number: one query.

    Raises:
        NotVisible: there is none there for this actor.
    """
    found = Receipt.objects.filter(
        station=station, station_id__in=actor.station_ids, year=year, number=number
    )
    receipt = found.select_related("payment__party", "payment__by").first()
    if receipt is None:
        raise NotVisible("There is no such receipt here.")
    return receipt


def entries_as_csv(
    station: Station, first: date, last: date, tell: Callable[[int], None] = lambda _done: None
) -> str:
    """Return the ledger of some days as CSV, both days included: a query per so many rows.

    Args:
        station: whose ledger.
        first, last: which days.
        tell: called with how many entries are written.
    """
    entries = LedgerEntry.objects.filter(station=station, day__gte=first, day__lte=last).order_by("id")
    known = entries.select_related("payment__receipt", "voucher", "station")

    def written() -> Iterator[Sequence[object]]:
        # A page at a time: whoever is told may write, which SQLite refuses while rows are being read.
        done, last_id = 0, 0
        while page := list(known.filter(pk__gt=last_id)[:AT_ONCE]):
            yield from map(_row, page)
            done, last_id = done + len(page), page[-1].pk
            tell(done)
            if len(page) < AT_ONCE:
                return

    return csv_text(COLUMNS, written())


def count_entries(station: Station, first: date, last: date) -> int:
    """Return how many entries the ledger of some days has: one query."""
    return LedgerEntry.objects.filter(station=station, day__gte=first, day__lte=last).count()


def _row(entry: LedgerEntry) -> Sequence[object]:
    receipt = getattr(entry.payment, "receipt", "") if entry.payment else ""
    return (
        entry.pk,
        entry.day.isoformat(),
        entry.station.local(entry.at).isoformat(timespec="seconds"),
        entry.debit,
        entry.credit,
        entry.amount.amount,
        entry.currency,
        entry.text,
        entry.party_id or "",
        entry.charge_id or "",
        receipt,
        entry.voucher.code if entry.voucher else "",
    )


def _taxes(terms: Terms, charges: Sequence[Charge]) -> tuple[tuple[Decimal, Money, Money], ...]:
    return tax_lines(terms.currency, [(each.tax_pct, each.gross, each.tax) for each in charges])


def _parties_of(station: Station, day: date) -> list[Party]:
    """Return the parties with an outing on a day, by name: one query."""
    start, end = day_bounds(day, station.zone)
    outings = Outing.objects.filter(station=station, starts_at__gte=start, starts_at__lt=end)
    parties = Party.objects.filter(pk__in=outings.values("booking__party"))
    return list(parties.order_by("contact_name", "id"))
