"""The desk: today's board, the outing page that walks a rider through the day, and the demo station."""
