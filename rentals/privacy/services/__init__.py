"""What is written for privacy: export and erasure of a rider on request, and letting go of what is old."""

from rentals.privacy.services.erasing import UnableToErase, erase_rider, export_rider
from rentals.privacy.services.retaining import let_go

__all__ = ["UnableToErase", "erase_rider", "export_rider", "let_go"]
