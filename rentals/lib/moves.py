"""Moving a row along its states: by compare and set, so that of two who move it at once one is told."""

from typing import Any

from django.db.models import Model

from rentals.lib.writes import inside_write


@inside_write
def shift(row: Model, target: str, **values: Any) -> bool:
    """Move a row from the state it was read in to another, with what comes with it.

    Returns:
        False when somebody moved the row meanwhile; it is then left as it was read.
    """
    known = {"pk": row.pk, "state": row.__dict__["state"]}
    changed = {"state": target, **values}
    if not type(row)._base_manager.filter(**known).update(**changed):
        return False
    for name, value in changed.items():
        setattr(row, name, value)
    return True
