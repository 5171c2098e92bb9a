"""What calling an outing off costs by the station's rule, said before it is done."""

from collections import defaultdict
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from rentals.bookings.models import Outing
from rentals.lib.money import Money
from rentals.stations.models import Station
from rentals.takings.mapping import quotes
from rentals.takings.mapping.book import PriceBook, UnableToQuote
from rentals.takings.mapping.pricing import (
    Share,
    cancel_share,
    nothing_of,
    share_of,
    share_of_minutes,
)
from rentals.takings.mapping.quotes import Line
from rentals.takings.models import CancelRule, Charge, Good, PassUse, Purpose, Terms
from rentals.takings.queries.accounts import time_line
from rentals.takings.queries.passes import Cover, Covers, passes_of
from rentals.takings.queries.prices import price_book
from rigging.reason import POLICY, Reason

NO_RULE = Reason("When it was booked, calling off cost nothing here.", "no rule for calling off", POLICY)


@dataclass(frozen=True, slots=True)
class Back:
    """What stands for an outing and goes back: charges, and minutes taken from a pass."""

    charges: tuple[Charge, ...]
    uses: tuple[PassUse, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CancelQuote:
    """What calling one outing off costs: a fee, or minutes of a pass; and what goes back."""

    outing: Outing
    fee: Money
    reason: Reason
    back: Back
    line: Line | None = None
    good: Good | None = None
    cover: Cover | None = None

    @property
    def goes_back(self) -> Money:
        """What was charged for the outing and is taken back."""
        return sum((charge.gross for charge in self.back.charges), Money(0, self.fee.currency))

    @property
    def costs(self) -> bool:
        """Whether it costs anything."""
        return bool(self.fee) or self.cover is not None


@dataclass(frozen=True, slots=True)
class CancelCost:
    """What calling a party off costs all told, and until when it is free."""

    fee: Money
    minutes: int
    free_until: datetime | None
    quotes: tuple[CancelQuote, ...]


def rules_of(station: Station) -> list[CancelRule]:
    """Return the rules for calling off that a station has had, the newest first: one query."""
    return list(
        CancelRule.objects.filter(station=station).select_related("set_by").order_by("-set_at", "-id")
    )


def cancel_cost(outings: Sequence[Outing], *, now: datetime) -> CancelCost | None:
    """Return what calling outings of one party off costs now; None where the station has no prices.

    Args:
        outings: of one station, with station, rider, and booking with its party joined.
        now: the moment.

    Seven queries, for a page that asks before it is done.
    """
    if not outings or not Terms.objects.filter(station_id=outings[0].station_id).exists():
        return None
    found = cancel_quotes(outings, missed=False, now=now)
    rules = rules_of(outings[0].station)
    free = [
        outing.starts_at - timedelta(hours=rule.free_hours)
        for outing in outings
        if (rule := rule_for(rules, outing)) is not None and rule.share_pct
    ]
    fee = sum((quote.fee for quote in found), Money(0, found[0].fee.currency))
    minutes = sum(quote.cover.minutes for quote in found if quote.cover)
    return CancelCost(fee, minutes, min(free, default=None), tuple(found))


def cancel_quotes(outings: Sequence[Outing], *, missed: bool, now: datetime) -> list[CancelQuote]:
    """Return what calling each outing off costs, or its rider not coming: seven queries.

    The rule is that of the moment of booking, and so is the price.

    Raises:
        UnableToQuote: the station has no money terms.
    """
    station = outings[0].station
    book, rules = price_book(station, as_of=now), rules_of(station)
    charges, uses = defaultdict[int, list[Charge]](list), defaultdict[int, list[PassUse]](list)
    standing = Charge.objects.filter(outing__in=outings, purpose__in=(Purpose.TIME, Purpose.EXTENSION))
    for charge in standing.standing().select_related("party").order_by("id"):
        charges[charge.outing_id or 0].append(charge)
    taken = PassUse.objects.filter(outing__in=outings, gives_back=None, given_back=None)
    for use in taken.select_related("held").order_by("id"):
        uses[use.outing_id].append(use)
    covers = Covers(station, passes_of({outing.rider_id for outing in outings}))
    found = []
    for outing in outings:
        back = Back(tuple(charges[outing.pk]), tuple(uses[outing.pk]))
        rule = rule_for(rules, outing)
        share = None if rule is None else _share(rule, outing, missed, now)
        if share is None:
            found.append(CancelQuote(outing=outing, fee=book.terms.money(0), reason=NO_RULE, back=back))
        elif cover := _cover(outing, back, covers):
            found.append(_of_a_pass(book, outing, cover, share, back))
        else:
            found.append(_of_the_price(book, outing, share, back))
    return found


def rule_for(rules: Sequence[CancelRule], outing: Outing) -> CancelRule | None:
    """Return the rule that a promise was made under: the newest of its moment."""
    return next((rule for rule in rules if rule.set_at <= outing.booking.booked_at), None)


def _share(rule: CancelRule, outing: Outing, missed: bool, now: datetime) -> Share:
    if missed:
        return Share(rule.missed_pct, "Did not come")
    ahead = (outing.starts_at.astimezone(UTC) - now.astimezone(UTC)).total_seconds() / 60
    return cancel_share(ahead_min=ahead, free_hours=rule.free_hours, share_pct=rule.share_pct)


def _cover(outing: Outing, back: Back, covers: Covers) -> Cover | None:
    """Return the pass that paid for an outing, or would."""
    if back.uses:
        return Cover(back.uses[0].held, sum(use.minutes for use in back.uses), None)
    return None if back.charges else covers.take(outing)


def _of_a_pass(book: PriceBook, outing: Outing, cover: Cover, share: Share, back: Back) -> CancelQuote:
    minutes, reason = share_of_minutes(cover.minutes, share)
    kept = Cover(cover.held, minutes, None) if minutes else None
    return CancelQuote(outing=outing, fee=book.terms.money(0), reason=reason, cover=kept, back=back)


def _of_the_price(book: PriceBook, outing: Outing, share: Share, back: Back) -> CancelQuote:
    """Return a share of what was charged, or of what would be; nothing where there is no price."""
    nothing = CancelQuote(outing=outing, fee=book.terms.money(0), reason=nothing_of(share), back=back)
    with suppress(UnableToQuote):
        price = nothing.goes_back or time_line(book, outing).total
        good = book.usual(outing.booking.kind)
        fee = share_of(price, share)
        if fee is not None:
            line = quotes.called_off(book, good, fee, outing.starts_at)
            return CancelQuote(
                outing=outing, fee=fee.amount, reason=fee.reason, line=line, good=good, back=back
            )
    return nothing
