"""Booking from home: the public page, secret links, the waiting list, and messages to riders."""
