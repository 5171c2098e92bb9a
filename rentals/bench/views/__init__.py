"""Pages of the bench: the shed and its items, jobs, inspections."""
