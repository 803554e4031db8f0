"""Benchmarks: each module has `run() -> list[Row]`; `python -m benchmarks` prints them all."""
