"""What the review reads: lives of the kit, its use, and a period's figures."""
