"""Reference values with their sources, and what computes each of them."""
