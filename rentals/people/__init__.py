"""People: staff with their postings, and riders with what the water asks of them."""
