"""Rig cards: which sail suits a rider in this wind, and the settings each rig is given, with their reasons."""
