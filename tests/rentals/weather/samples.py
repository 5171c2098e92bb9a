"""The saved real files that the readers are tested on; where they come from stands beside them."""

from pathlib import Path
from typing import Final

FOLDER: Final = Path(__file__).parents[3] / "fixtures" / "samples"


def sample(name: str) -> str:
    """The text of one saved file."""
    return (FOLDER / name).read_text(encoding="utf-8")
