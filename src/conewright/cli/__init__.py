"""Commands over the same reports: parse, call one stage, print."""

from conewright.cli.entry import main

__all__ = ["main"]
