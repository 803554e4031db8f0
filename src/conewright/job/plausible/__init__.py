"""What the values of a job can be at all, and what they usually are."""
