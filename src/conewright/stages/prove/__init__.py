"""Prove: what recordings say, in figures with bands, and the readings that they make."""
