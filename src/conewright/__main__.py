"""The door of the program's own process: `conewright`, and `python -m conewright`."""

from __future__ import annotations

import os
import signal
import sys

# As type checkers know it; what is imported here, Ctrl-C would find unguarded.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from types import FrameType, TracebackType
    from typing import NoReturn

INTERRUPTED = 130

_pressed: list[int] = []


def main() -> NoReturn:
    """Do what the command line asks for; Ctrl-C ends it quietly, whenever it comes."""
    # Who started us may have wanted Ctrl-C to pass us by.
    minded = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if minded:
        signal.signal(signal.SIGINT, _interrupted)
        sys.unraisablehook, sys.excepthook = _lost, _printed
    try:
        from conewright.cli import main as run

        run(interrupted=lambda: bool(_pressed))
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    finally:
        if minded:
            signal.signal(signal.SIGINT, _leave)


def _interrupted(number: int, frame: FrameType | None) -> None:
    """Interrupt what is being done; an import, which would print or swallow that, is left."""
    _pressed.append(number)
    inside = frame
    while inside is not None:
        if inside.f_code.co_filename.startswith("<frozen importlib"):
            _leave(number, frame)
        inside = inside.f_back
    raise KeyboardInterrupt


def _lost(unraisable: sys.UnraisableHookArgs) -> None:
    """Leave where an interrupt came up in a place that could only print it and go on."""
    if issubclass(unraisable.exc_type, KeyboardInterrupt):
        os._exit(INTERRUPTED)
    sys.__unraisablehook__(unraisable)


def _printed(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """Leave where compiled code would print an interrupt, as it does before it loses it."""
    if issubclass(kind, KeyboardInterrupt):
        os._exit(INTERRUPTED)
    sys.__excepthook__(kind, error, trace)


def _leave(_number: int, _frame: FrameType | None) -> None:
    """Leave at once: nothing is begun yet, or all is done."""
    os._exit(INTERRUPTED)


if __name__ == "__main__":
    main()
