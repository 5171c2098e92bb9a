"""The plan of the day: who gets what, which rigs the crew builds when, kept with its inputs and proof."""
