"""Rig cards: which sail suits a rider in this wind, and each rig's settings with their reasons."""
