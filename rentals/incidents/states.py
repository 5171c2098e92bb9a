"""Turns that alternate: odd ones close an incident or sign a day, even ones open it again."""


def is_shut(turns: int) -> bool:
    """Say whether something stands closed after so many turns."""
    return turns % 2 == 1
