"""Test signals and their files: pure functions on samples and rates."""
