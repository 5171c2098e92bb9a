"""The shed."""
