"""Published tables kept under `fixtures/reference`, their source in the first line."""

import csv
from pathlib import Path

FOLDER = Path(__file__).parents[2] / "fixtures" / "reference"


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a reference table by its name without suffix."""
    lines = (FOLDER / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))
