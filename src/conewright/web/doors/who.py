"""Whose name goes beside a saved revision."""

from __future__ import annotations

import getpass

from fastapi import Request

__all__ = ["device_of", "who_asks"]


def who_asks(request: Request) -> str:
    """Return the name of the paired device that asks, else of whoever runs the server."""
    return device_of(request) or _owner()


def device_of(request: Request) -> str | None:
    """Return the name of the paired device that asks; None for the computer of the server."""
    device: str | None = getattr(request.state, "device", None)
    return device


def _owner() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "somebody"
