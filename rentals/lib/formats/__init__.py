"""How dates and times are written, per language."""
