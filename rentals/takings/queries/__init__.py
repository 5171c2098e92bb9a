"""Reading money: quotes and the price list, accounts of parties, the day's takings."""

from rentals.takings.mapping.book import PriceBook, UnableToQuote
from rentals.takings.mapping.quotes import Line, Quote, Wanted
from rentals.takings.queries.accounts import (
    Cover,
    Due,
    PartyAccount,
    balance_minor,
    due_of,
    lapsed,
    open_parties,
    party_account,
    party_balance,
    summed,
    voucher_left_minor,
)
from rentals.takings.queries.day import (
    COLUMNS,
    LONGEST_EXPORT_DAYS,
    DayTakings,
    day_takings,
    entries_as_csv,
    party_for,
    receipt_for,
    terms_of,
)
from rentals.takings.queries.prices import (
    ListRow,
    price_book,
    price_list,
    quote,
    quote_booking,
    quote_extension,
)

__all__ = [
    "COLUMNS",
    "LONGEST_EXPORT_DAYS",
    "Cover",
    "DayTakings",
    "Due",
    "Line",
    "ListRow",
    "PartyAccount",
    "PriceBook",
    "Quote",
    "UnableToQuote",
    "Wanted",
    "balance_minor",
    "day_takings",
    "due_of",
    "entries_as_csv",
    "lapsed",
    "open_parties",
    "party_account",
    "party_balance",
    "party_for",
    "price_book",
    "price_list",
    "quote",
    "quote_booking",
    "quote_extension",
    "receipt_for",
    "summed",
    "terms_of",
    "voucher_left_minor",
]
