"""Prices, quotes, charges and payments in an append-only ledger, and the day's close."""
