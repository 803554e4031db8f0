"""Bring the sound of an ageing vehicle back: what drives what, what is heard, what fits."""
