"""The door of the program's own process: `conewright`, and `python -m conewright`."""

from __future__ import annotations

import os
import signal
import sys

# As type checkers know it; what is imported here, Ctrl-C would find unguarded.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from types import FrameType
    from typing import NoReturn

INTERRUPTED = 130


def main() -> NoReturn:
    """Do what the command line asks for; Ctrl-C ends it quietly, whenever it comes."""
    # Who started us may have wanted Ctrl-C to pass us by.
    minded = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if minded:
        signal.signal(signal.SIGINT, _interrupted)
    try:
        from conewright.cli import main as run

        run()
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    finally:
        if minded:
            signal.signal(signal.SIGINT, _leave)


def _interrupted(number: int, frame: FrameType | None) -> None:
    """Interrupt what is being done; an import, which would print or swallow that, is left."""
    inside = frame
    while inside is not None:
        if inside.f_code.co_filename.startswith("<frozen importlib"):
            _leave(number, frame)
        inside = inside.f_back
    raise KeyboardInterrupt


def _leave(_number: int, _frame: FrameType | None) -> None:
    """Leave at once: nothing is begun yet, or all is done."""
    os._exit(INTERRUPTED)


if __name__ == "__main__":
    main()
