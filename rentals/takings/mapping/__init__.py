"""What things cost, computed: prices by time, late fees, tax within a price, and the station's price book."""
