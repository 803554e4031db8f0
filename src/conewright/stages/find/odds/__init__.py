"""Exact odds of faults, from complaints and readings."""
