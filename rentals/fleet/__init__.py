"""The shed: models and items, what state each is in, what holds it, and which rigs stand built."""
