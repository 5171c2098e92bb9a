"""The day plan: who gets which sail and board, and which rigs the crew builds for it."""
