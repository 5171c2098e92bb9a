"""Bookings: what a party is promised, each rider's outing, and the kit that is held for it."""
