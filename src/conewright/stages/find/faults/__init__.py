"""What can fail in a vehicle, and what the trade knows of it, from data files."""
