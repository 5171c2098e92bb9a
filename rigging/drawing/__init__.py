"""Drawings as SVG text: a rig to scale, a wind day, a search sketch; a life with its limits is in `life`.

`life` is imported by name only: it brings the survival models, which pages of rigs and winds do without.
"""

from rigging.drawing.rig import rig_svg
from rigging.drawing.search import search_svg
from rigging.drawing.windday import wind_day_svg

__all__ = ["rig_svg", "search_svg", "wind_day_svg"]
