"""Changing money: the price list, charges, payments, credits, passes and the close of a day."""

from rentals.takings.services.cancelling import cancel_outing, set_cancel_rule, settle_called_off
from rentals.takings.services.charging import (
    ChargedMeanwhile,
    Named,
    charge_due,
    charge_extension,
    charge_goods,
    charge_named,
    take_back_charge,
)
from rentals.takings.services.closing import ClosedMeanwhile, Counted, close_day, put_cash
from rentals.takings.services.credits import credit_outing, give_credit, redeem, sell_voucher, voucher_left
from rentals.takings.services.giving import keep_entries
from rentals.takings.services.passes import sell_pass
from rentals.takings.services.paying import (
    Paid,
    hold_excess,
    keep_excess,
    refund,
    return_excess,
    take_payment,
)
from rentals.takings.services.prices import (
    GoodFacts,
    TermsFacts,
    UnableToPrice,
    drop_season,
    keep_good,
    keep_season,
    keep_terms,
    set_price,
    set_tax_rate,
)
from rentals.takings.services.storing import FetchedMeanwhile, fetch_kit, store_kit
from rentals.takings.services.till import UnableToTake

__all__ = [
    "ChargedMeanwhile",
    "ClosedMeanwhile",
    "Counted",
    "FetchedMeanwhile",
    "GoodFacts",
    "Named",
    "Paid",
    "TermsFacts",
    "UnableToPrice",
    "UnableToTake",
    "cancel_outing",
    "charge_due",
    "charge_extension",
    "charge_goods",
    "charge_named",
    "close_day",
    "credit_outing",
    "drop_season",
    "fetch_kit",
    "give_credit",
    "hold_excess",
    "keep_entries",
    "keep_excess",
    "keep_good",
    "keep_season",
    "keep_terms",
    "put_cash",
    "redeem",
    "refund",
    "return_excess",
    "sell_pass",
    "sell_voucher",
    "set_cancel_rule",
    "set_price",
    "set_tax_rate",
    "settle_called_off",
    "store_kit",
    "take_back_charge",
    "take_payment",
    "voucher_left",
]
