"""Small ways of saying things, for every room."""

from collections.abc import Sequence

__all__ = ["capital", "listed"]


def capital(text: str) -> str:
    """Return a text that begins with a capital letter, the rest of it as it was."""
    return text[:1].upper() + text[1:]


def listed(names: Sequence[str]) -> str:
    """Write a list as people say it: `a, b and c`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
