"""Incidents with their follow-up, the distress sheet, and the closing round."""
