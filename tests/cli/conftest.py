"""What every test of the command line holds."""

import pytest


@pytest.fixture(autouse=True)
def _patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep a slow machine's "this takes a while" out of what the tests compare."""
    monkeypatch.setattr("conewright.cli.base.console.PATIENCE", 600.0)
