"""Check lists of a station: its own wordings for launch and return checks, in versions that stay."""
