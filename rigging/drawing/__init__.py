"""Drawings as SVG text: a rig to scale, a wind day, a search sketch, a life with its limits."""

from rigging.drawing.life import life_svg
from rigging.drawing.rig import rig_svg
from rigging.drawing.search import search_svg
from rigging.drawing.windday import wind_day_svg

__all__ = ["life_svg", "rig_svg", "search_svg", "wind_day_svg"]
