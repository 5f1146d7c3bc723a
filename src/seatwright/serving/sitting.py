"""A sitting: from the scene on the disk to the page in the browser, until Ctrl-C."""

from __future__ import annotations

import os
import sys
import webbrowser
from contextlib import closing, suppress
from pathlib import Path
from threading import Thread

import typer

from seatwright.disk.toml_edits import edited
from seatwright.errors import printable
from seatwright.interrupts import ENDING
from seatwright.rehearsal import Rehearsal
from seatwright.serving.desk import Desk
from seatwright.serving.page_server import PageServer
from seatwright.stage.moves import leaf_changes
from seatwright.stage.request import Request

_NICE = 5
"""By how much the processes that play come before this one."""


def sit(path: Path, request: Request, port: int, browser: bool) -> None:
    """Serve a scene's rehearsal page until a signal ends it.

    Parameters
    ----------
    path : Path
        Scene file.
    request : Request
    port : int
    browser : bool
        Whether to open the page in the usual browser.

    Raises
    ------
    SeatwrightError
        With every fault, before anything is served.
    """
    with closing(Desk(path, request)) as desk:
        server = PageServer(desk, port)
        for warning in (*desk.rehearsal.read.warnings, *desk.rehearsal.cast.warnings):
            typer.echo(f"seatwright: {warning}", err=True)
        try:
            _served(server, browser)
        except KeyboardInterrupt:  # how it is meant to end
            typer.echo("", err=True)
        finally:
            server.server_close()
            if left := unsaved_text(desk.rehearsal):
                typer.echo(f"not saved; what differs from {printable(str(path))}:", err=True)
                typer.echo(left, err=True)


def _served(server: PageServer, browser: bool) -> None:
    """Serve until a signal raises."""
    _let_the_music_go_first()
    serving = Thread(target=server.serve_forever, name="serving", daemon=True)
    serving.start()
    try:
        typer.echo("set a low monitoring level before the first listening; Ctrl-C ends", err=True)
        typer.echo(server.url)
        if browser:
            webbrowser.open(server.url)
        while serving.is_alive():
            ENDING.check()
            serving.join(0.5)
    finally:
        server.shutdown()


def _let_the_music_go_first() -> None:
    """Give way to the browser that plays, and hand over between threads quickly."""
    sys.setswitchinterval(0.001)
    with suppress(AttributeError, OSError):  # not on every system
        os.nice(_NICE)


def unsaved_text(rehearsal: Rehearsal) -> str:
    """What was moved and not saved, as TOML that can be put into the scene by hand; "" if none."""
    changes = leaf_changes(rehearsal.read.scene, rehearsal.written)
    kept = {path: value for path, value in changes.items() if value is not None}
    return printable_lines(edited(b"", kept).decode()) if kept else ""


def printable_lines(text: str) -> str:
    """Lines that are safe for a terminal."""
    return "\n".join(printable(line) for line in text.strip().splitlines())
