"""Drawings as true geometry, and the files and tiles made of them."""
