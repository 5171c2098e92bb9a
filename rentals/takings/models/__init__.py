"""Rows of money: the price list; charges, payments and the ledger; passes; credits; the close of a day."""

from rentals.takings.models.ledger import (
    INTO,
    Account,
    Charge,
    DayClose,
    LedgerEntry,
    Method,
    Payment,
    Purpose,
    Receipt,
    ReceiptLine,
    Voucher,
)
from rentals.takings.models.passes import Pass, PassUse
from rentals.takings.models.prices import (
    AHEAD,
    LONGEST_WAIT_DAYS,
    Good,
    Price,
    Season,
    Tax,
    TaxRate,
    Terms,
    Unit,
)

__all__ = [
    "AHEAD",
    "INTO",
    "LONGEST_WAIT_DAYS",
    "Account",
    "Charge",
    "DayClose",
    "Good",
    "LedgerEntry",
    "Method",
    "Pass",
    "PassUse",
    "Payment",
    "Price",
    "Purpose",
    "Receipt",
    "ReceiptLine",
    "Season",
    "Tax",
    "TaxRate",
    "Terms",
    "Unit",
    "Voucher",
]
