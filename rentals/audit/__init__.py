"""The journal: who did what to what and when, never changed, never deleted."""
