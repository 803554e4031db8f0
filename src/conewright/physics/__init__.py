"""What nature does: pure functions on SI numbers and arrays."""
