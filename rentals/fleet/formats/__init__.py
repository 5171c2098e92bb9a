"""Forms in which a shed comes in and goes out."""
