"""Which reading to take next, what is answered to it, and what is said of the odds."""
