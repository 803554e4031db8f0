"""One state of the vehicle: every gap of a job filled, every value with its origin."""
