"""What is kept for how long; export and erasure of a rider."""
