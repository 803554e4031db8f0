"""Fit: whether parts go in, behind and in front."""
