"""Afloat: launch checks, launches and landings, and the watch over who is overdue."""
