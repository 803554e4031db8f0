"""Hear: what will be heard at the seats, and what changed it."""
