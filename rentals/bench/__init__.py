"""The bench: return checks, faults and their mending, and the wear each outing leaves on each item."""
