"""Forms in which pictures come in."""
