"""The version of this installation."""

from importlib.metadata import version

__all__ = ["__version__"]

__version__ = version("conewright")
