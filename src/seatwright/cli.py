"""The command line: parse, call, print. Heavy imports stand inside the commands."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from io import TextIOWrapper
from typing import Annotated

import typer

from seatwright import __version__
from seatwright.commands.check import check_command
from seatwright.commands.compare import compare_command
from seatwright.commands.draft import draft_command
from seatwright.commands.plan import plan_command
from seatwright.commands.rehearse import rehearse_command
from seatwright.commands.render import render_command
from seatwright.commands.store import store_command
from seatwright.commands.tables import (
    halls_command,
    instruments_command,
    schema_command,
    surfaces_command,
)
from seatwright.commands.tally import tally_command
from seatwright.commands.verify import verify_command
from seatwright.commands.watch import watch_command

app = typer.Typer(
    name="seatwright",
    help="Place an orchestra's exported stems on one stage.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"seatwright {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say the version.")
    ] = False,
) -> None:
    """Place an orchestra's exported stems on one stage."""


app.command("render")(render_command)
app.command("check")(check_command)
app.command("compare")(compare_command)
app.command("draft")(draft_command)
app.command("plan")(plan_command)
app.command("rehearse")(rehearse_command)
app.command("tally")(tally_command)
app.command("verify")(verify_command)
app.command("store")(store_command)
app.command("watch")(watch_command)
app.command("schema")(schema_command)
app.command("surfaces")(surfaces_command)
app.command("halls")(halls_command)
app.command("instruments")(instruments_command)


_ENDED_BY = {129: "ended by SIGHUP", 130: "interrupted", 143: "ended by SIGTERM"}


def _say_ended(code: object) -> None:
    if isinstance(code, int) and (why := _ENDED_BY.get(code)):
        with suppress(OSError):  # the terminal may be gone
            typer.echo(f"seatwright: {why}, no output is half written", err=True)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line.

    Ends with 0 done, 1 render failed, 2 scene or usage, 3 audio, 4 disk, 129 terminal gone,
    130 interrupted, 143 told to end.
    """
    # files, seats and blocks are shared out already: threads inside each product would fight them
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from seatwright.errors import SeatwrightError, printable
    from seatwright.interrupts import ENDING

    for stream in (sys.stdout, sys.stderr):  # a terminal without a letter shows its number
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        with ENDING:
            app(args=arguments)
    except SeatwrightError as error:
        for fault in error.faults:
            typer.echo(f"seatwright: {fault}", err=True)
        sys.exit(error.exit_code)
    except SystemExit as end:
        _say_ended(end.code)
        raise
    except KeyboardInterrupt:  # before or after typer
        _say_ended(130)
        sys.exit(130)
    except MemoryError:
        typer.echo("seatwright: not enough memory for this render", err=True)
        sys.exit(1)
    except OSError as error:
        found = printable(f"{error.strerror or error}: {error.filename or ''}")
        typer.echo(f"seatwright: {found}", err=True)
        sys.exit(4)
