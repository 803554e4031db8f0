"""`conewright serve`: the pages, on this computer or for paired devices of the local network."""

from __future__ import annotations

from typing import Annotated

import typer

from conewright.cli.base.console import say
from conewright.cli.base.options import NoOpen, Port

__all__ = ["serve"]


def serve(
    port: Port = None,
    no_open: NoOpen = False,
    lan: Annotated[
        bool,
        typer.Option(
            "--lan",
            help="Let in phones of the local network too, each paired by a code that is shown.",
            show_default=False,
        ),
    ] = False,
) -> None:
    """Show the kept jobs as pages in a browser, until Ctrl-C."""
    from conewright.web.serve import serve as served

    served(port=port, open_page=not no_open, lan=lan, say=lambda line: say(f"{line}\n"))
