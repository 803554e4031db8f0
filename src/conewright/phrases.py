"""Small ways of saying things, for every room."""

from collections.abc import Sequence

__all__ = ["capital", "counted", "listed", "sheet_cell"]

FORMULA_SIGNS = ("=", "+", "-", "@")


def capital(text: str) -> str:
    """Return a text that begins with a capital letter, the rest of it as it was."""
    return text[:1].upper() + text[1:]


def counted(number: int, word: str, words: str = "") -> str:
    """Write how many there are: `1 driver`, `2 drivers`.

    Args:
        number: how many.
        word: for one of them.
        words: for none or several of them; with an s where left out.

    """
    return f"{number} {word if number == 1 else words or f'{word}s'}"


def listed(names: Sequence[str]) -> str:
    """Write a list as people say it: `a, b and c`; empty for none."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def sheet_cell(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula, whatever blanks stand before it.

    Source: OWASP ASVS 5.0, 1.2.10: a quote goes before =, +, -, @, a tab and what is not seen.
    """
    first = text.lstrip(" ")[:1]
    return f"'{text}" if first in FORMULA_SIGNS or not first.isprintable() else text
