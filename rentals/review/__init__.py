"""What wears, what it costs and what to buy: the managers' pages."""
