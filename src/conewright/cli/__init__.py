"""Commands over the same reports."""
