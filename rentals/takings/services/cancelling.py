"""Calling an outing off with its money: charges and hours go back, the fee of the rule is charged."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.models import Outing
from rentals.bookings.states import OutingEvent
from rentals.lib.access import Act, Actor, System
from rentals.lib.writes import inside_write, write
from rentals.takings import queries
from rentals.takings.models import MOST_FREE_HOURS, CancelRule, Purpose, Terms
from rentals.takings.queries import CancelQuote
from rentals.takings.services.charging import contra, give_back, put_charge, use_pass
from rentals.takings.services.prices import UnableToPrice
from rentals.takings.services.till import Till, open_till, tell


@write
def set_cancel_rule(
    *,
    actor: Actor,
    station_id: int,
    free_hours: int,
    share_pct: int,
    missed_pct: int,
    once: UUID | None = None,
    now: datetime,
) -> CancelRule:
    """Set what calling off costs from now on; what was booked before keeps its rule.

    Args:
        actor: who sets it.
        station_id: where.
        free_hours: up to how many hours before the start it is free.
        share_pct: share of the price after that.
        missed_pct: share of the price for a rider who did not come.
        once: the request's own key.
        now: the moment.

    Raises:
        UnableToPrice: a number out of its range.
    """
    actor.require(Act.SET_PRICES, station_id=station_id)
    asked = ["cancel rule", station_id, free_hours, share_pct, missed_pct]
    claim = journal.claim(actor=actor, act=Act.SET_PRICES, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return CancelRule.objects.get(pk=claim.result_id)
    if not 0 <= free_hours <= MOST_FREE_HOURS:
        raise UnableToPrice.at("free_hours", f"Enter 0 to {MOST_FREE_HOURS} hours.")
    for name, pct in (("share_pct", share_pct), ("missed_pct", missed_pct)):
        if not 0 <= pct <= 100:
            raise UnableToPrice.at(name, "Enter 0 to 100 percent.")
    rule = CancelRule.objects.create(
        station_id=station_id,
        free_hours=free_hours,
        share_pct=share_pct,
        missed_pct=missed_pct,
        set_at=now,
        set_by_id=actor.user_id,
    )
    text = f"Calling off: {rule}; who does not come pays {missed_pct} %"
    line = journal.Line("station", station_id, text)
    journal.record(actor=actor, act=Act.SET_PRICES, station_id=station_id, lines=[line], now=now)
    journal.settle(claim, rule.pk)
    return rule


@write
def cancel_outing(
    *, actor: Actor, outing_id: int, missed: bool, reason: str, waive: str = "", now: datetime
) -> Outing:
    """Call an outing off, or note that the rider never came; its kit is free again and its money settled.

    Args:
        actor: who calls it off.
        outing_id: which.
        missed: whether the rider never came.
        reason: for whoever asks later.
        waive: why the fee is not taken; empty to take it. Who waives must be allowed to.
        now: the moment.

    Raises:
        UnableToBook: no reason given.
        UnableToMoveOuting: it is afloat, ashore or over; or its kit is still with the rider.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.CANCEL, station_id=outing.station_id)
    if waive.strip():
        actor.require(Act.WAIVE_FEE, station_id=outing.station_id)
    if not reason.strip():
        raise bookings.UnableToBook.at("reason", "Enter why, for whoever asks later.")
    event = OutingEvent.MISS if missed else OutingEvent.CANCEL
    bookings.call_off(actor=actor, act=Act.CANCEL, outing=outing, event=event, reason=reason, now=now)
    settle_called_off(
        actor=actor, act=Act.CANCEL, outings=[outing], missed=missed, reason=reason, waive=waive, now=now
    )
    return outing


@inside_write
def settle_called_off(
    *,
    actor: Actor,
    act: Act | System,
    outings: Sequence[Outing],
    missed: bool = False,
    reason: str,
    waive: str = "",
    now: datetime,
) -> None:
    """Settle the money of outings that were just called off, inside the write that did it.

    What was charged for them is taken back, hours go back onto their pass, and the fee of the station's rule
    is charged, unless it is waived. Where the station has no prices nothing is done. Call all of a party off
    before: whoever waits for the till must not hold an outing that another till waits for.

    Args:
        actor: who called them off, asked for `act` by the caller too.
        act: what the caller does.
        outings: of one station, with station, rider, and booking with its party joined.
        missed: whether the riders never came.
        reason: why, for whoever asks later.
        waive: why the fee is not taken; empty to take it.
        now: the moment.
    """
    if not outings or not Terms.objects.filter(station_id=outings[0].station_id).exists():
        return
    till = open_till(actor=actor, act=act, station_id=outings[0].station_id, now=now)
    for quote in queries.cancel_quotes(outings, missed=missed, now=now):
        _settle(till, quote, reason, waive.strip())


@inside_write
def _settle(till: Till, quote: CancelQuote, reason: str, waive: str) -> None:
    outing, party = quote.outing, quote.outing.booking.party
    for charge in quote.back.charges:
        contra(till, charge, f"Called off: {reason}")
    for use in quote.back.uses:
        give_back(till, use)
    if waive and quote.costs:
        what = quote.fee or f"{quote.cover.minutes if quote.cover else 0} min of the pass"
        tell(till, "outing", outing.pk, f"Fee of {what} waived: {waive}")
        tell(till, "party", party.pk, f"Fee of {what} for {outing.rider} waived: {waive}")
    elif quote.cover is not None:
        use_pass(till, outing, quote.cover)
    elif quote.line is not None and quote.good is not None:
        put_charge(till, party, quote.line, Purpose.CANCEL, quote.good.pk, outing)
