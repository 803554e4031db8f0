"""Attacks: each module has `run(tally, limits)`; `python -m attack` runs all and counts finds."""
