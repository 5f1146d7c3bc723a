"""The command that counts ballots."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seatwright.commands.arguments import ballot_named


def tally_command(
    ballots: Annotated[
        list[Path],
        typer.Argument(
            parser=ballot_named,
            metavar="BALLOT...",
            help="Ballots: JSON, text with codes, folders of both, or codes themselves.",
        ),
    ],
    trial: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The trial's manifest; names and rules stand in it."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, not text.")] = False,
    html: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write a page with plots.")
    ] = None,
) -> None:
    """What the listeners said: preferences, strengths, scores, remarks, refused ballots."""
    from seatwright.errors import printable
    from seatwright.tally import tally
    from seatwright.views.tally_text import tally_json, tally_text

    found = tally(ballots, trial, html)
    typer.echo(tally_json(found) if as_json else tally_text(found), nl=False)
    if html is not None:
        typer.echo(f"written to {printable(str(html))}", err=True)
