"""Quotes: frozen lines with their reasons, worked out from a price book."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from rentals.lib.money import Money
from rentals.takings.mapping.book import PriceBook, UnableToQuote
from rentals.takings.mapping.pricing import Priced, by_time, late_fee, tax_reason, tax_within
from rentals.takings.models import Good, Terms, Unit
from rigging.reason import POLICY, Input, Reason

MOST_OF_ONE = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Something to be priced: a time or a count of units, of the usual good of a kind or one by its code.

    Give `starts_at` and `ends_at` (aware) for a time, `unit` and `day` for units.
    """

    kind: str = ""
    good: str = ""
    count: int = 1
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    unit: str = ""
    day: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a quote: what, how many, at which price, the tax within, and why."""

    good: str
    text: str
    count: int
    each: Money
    total: Money
    tax_pct: Decimal
    tax: Money
    included: str
    reasons: tuple[Reason, ...]

    def told(self) -> list[dict[str, Any]]:
        """Return its reasons as they are kept."""
        return [asdict(reason) for reason in self.reasons]

    def charged(self) -> dict[str, Any]:
        """Return the columns of a charge that it fills."""
        return {
            "count": self.count,
            "each_minor": self.each.minor,
            "gross_minor": self.total.minor,
            "tax_pct": self.tax_pct,
            "tax_minor": self.tax.minor,
            "currency": self.total.currency,
            "reasons": self.told(),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Quote:
    """Lines of one currency, tax within."""

    currency: str
    as_of: datetime
    lines: tuple[Line, ...]

    @property
    def total(self) -> Money:
        """What it all costs."""
        return sum((line.total for line in self.lines), Money(0, self.currency))

    @property
    def taxes(self) -> tuple[tuple[Decimal, Money, Money], ...]:
        """Rate, net and tax, by rate; each line's tax was rounded by itself."""
        return tax_lines(self.currency, [(line.tax_pct, line.total, line.tax) for line in self.lines])

    def deposit(self, pct: int) -> Money:
        """Return the share to be paid on booking, rounded half up to the minor unit."""
        return self.total.times(Decimal(pct) / 100)


def tax_lines(
    currency: str, rows: Sequence[tuple[Decimal, Money, Money]]
) -> tuple[tuple[Decimal, Money, Money], ...]:
    """Return (rate, net, tax) by rate from (rate, gross, tax) of lines."""
    found = []
    for pct in sorted({pct for pct, _gross, _tax in rows}):
        tax = sum((tax for rate, _gross, tax in rows if rate == pct), Money(0, currency))
        gross = sum((gross for rate, gross, _tax in rows if rate == pct), Money(0, currency))
        found.append((pct, gross - tax, tax))
    return tuple(found)


def line_of(book: PriceBook, wanted: Wanted) -> Line:
    """Return the line for one thing wanted.

    Raises:
        UnableToQuote: no such good, no price for that time or unit, or a count that cannot be.
    """
    good = book.good(wanted.good) if wanted.good else book.usual(wanted.kind)
    if not 1 <= wanted.count <= MOST_OF_ONE:
        raise UnableToQuote.at("count", f"Enter how many: 1 to {MOST_OF_ONE}.")
    if wanted.starts_at is not None and wanted.ends_at is not None:
        return timed(book, good, wanted.count, wanted.starts_at, wanted.ends_at)
    if wanted.day is None or wanted.unit not in Unit.values:
        raise UnableToQuote.at("unit", "Enter a time, or a unit and a day.")
    each = book.amount(good, wanted.unit, wanted.day)
    if each is None:
        raise UnableToQuote.at("unit", f"{good.name} has no price per {Unit(wanted.unit).label} that day.")
    label = "" if wanted.unit == Unit.PIECE else f", {Unit(wanted.unit).label}"
    why = _list_reason(book, good, Unit(wanted.unit), each, wanted.day)
    return _line(book, good, wanted.day, f"{good.name}{label}", wanted.count, each, why)


def extension(
    book: PriceBook, good: Good, count: int, starts_at: datetime, *, old: datetime, new: datetime
) -> Line:
    """Return what a later end costs more: the price of the whole time less that of the time booked.

    Raises:
        UnableToQuote: no price for the time.
    """
    before, after = (timed(book, good, count, starts_at, end) for end in (old, new))
    more = max(after.each - before.each, Money(0, book.terms.currency))
    why = Reason(
        text=f"Until then {after.each}, booked {before.each}: {more} more each.",
        rule="an extension costs the difference to the whole time",
        source=POLICY,
    )
    day = book.terms.station.local(starts_at).date()
    end = book.terms.station.local(new)
    return _line(
        book, good, day, f"{good.name}, extended to {end:%H:%M}", count, more, why, *after.reasons[:1]
    )


def lateness(book: PriceBook, good: Good, *, due_at: datetime, back_at: datetime) -> Line | None:
    """Return the late fee of one rider by the station's rule; None when there is none."""
    terms = book.terms
    fee = late_fee(
        (back_at - due_at).total_seconds() / 60,
        grace_min=terms.late_grace_min,
        step_min=terms.late_step_min,
        step_fee=terms.money(terms.late_step_minor),
        most=terms.money(terms.late_most_minor),
    )
    if fee is None:
        return None
    due = terms.station.local(due_at)
    return _line(
        book, good, due.date(), f"Late return, due {due:%H:%M}", 1, fee.amount, fee.reason, *_set_by(terms)
    )


def called_off(book: PriceBook, good: Good, fee: Priced, starts_at: datetime) -> Line:
    """Return the line of a fee for an outing that was called off, taxed as the outing would have been.

    Source: what is kept of a price for a service not used is taxed as the service: Court of Justice of the
    EU, C-250/14 and C-289/14 (2015), from memory. Local law may differ.
    """
    start = book.terms.station.local(starts_at)
    return _line(book, good, start.date(), f"Called off, {start:%-d %b %H:%M}", 1, fee.amount, fee.reason)


def free_line(book: PriceBook, good: Good, text: str, each: Money, day: date, why: str) -> Line:
    """Return a line at a price named by staff, such as damage, with their word as its reason."""
    reason = Reason(text=why, rule="price named by staff", source=POLICY)
    return _line(book, good, day, text, 1, each, reason)


def timed(book: PriceBook, good: Good, count: int, starts_at: datetime, ends_at: datetime) -> Line:
    """Return the line for a time on the water: by the piece where it is sold so, else by the cheapest way.

    Raises:
        UnableToQuote: no price for it, or an end before the start.
    """
    """Return the line for a time on the water: by the piece where it is sold so, else by the cheapest way.

    Raises:
        UnableToQuote: no price for it, or an end before the start.
    """
    day = book.terms.station.local(starts_at).date()
    minutes = (ends_at.astimezone(UTC) - starts_at.astimezone(UTC)).total_seconds() / 60
    if minutes <= 0:
        raise UnableToQuote.at("ends_at", "Enter an end after the start.")
    piece = book.amount(good, Unit.PIECE, day)
    if piece is not None:
        why = _list_reason(book, good, Unit.PIECE, piece, day)
        return _line(book, good, day, good.name, count, piece, why)
    priced = by_time(minutes, book.tariff(good, day))
    if priced is None:
        raise UnableToQuote.at("good", f"{good.name} has no price for that time. Ask a manager to set one.")
    hours, rest = divmod(round(minutes), 60)
    text = f"{good.name}, {hours} h {rest:02d} min"
    season = book.season_on(day)
    in_season = (Reason(f"{day} lies in {season.name}.", "prices of the season", POLICY),) if season else ()
    return _line(book, good, day, text, count, priced.amount, priced.reason, *in_season)


def _set_by(terms: Terms) -> tuple[Reason, ...]:
    """Return who set the rule and when, where it is known."""
    if terms.set_at is None:
        return ()
    who = f" by {terms.set_by.shown_name}" if terms.set_by else ""
    return (
        Reason(
            f"The rule for coming late was set {terms.station.local(terms.set_at):%-d %b %Y}{who}.",
            "the station's money terms",
            POLICY,
        ),
    )


def _list_reason(book: PriceBook, good: Good, unit: Unit, each: Money, day: date) -> Reason:
    season = book.season_on(day)
    when = f" in {season.name}" if season else ""
    return Reason(
        text=f"{good.name} costs {each} per {unit.label}{when}, by the list of {book.as_of:%Y-%m-%d}.",
        rule="the price list",
        source=POLICY,
        inputs=(Input("day", day.isoformat()),),
    )


def _line(book: PriceBook, good: Good, day: date, text: str, count: int, each: Money, *why: Reason) -> Line:
    pct, total = book.tax_pct(good, day), each * count
    return Line(
        good=good.code,
        text=text,
        count=count,
        each=each,
        total=total,
        tax_pct=pct,
        tax=tax_within(total, pct),
        included=good.included,
        reasons=(*why, tax_reason(total, pct)),
    )
