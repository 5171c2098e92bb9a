"""Rows as a problem to solve, and a solved plan as kit for each outing."""
