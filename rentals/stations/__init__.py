"""Beach sites: where they are, which way they face the water, when they open, what winds they allow."""
