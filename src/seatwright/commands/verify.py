"""The command that verifies what a render left."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seatwright.commands.arguments import folder_named


def verify_command(
    folder: Annotated[
        Path,
        typer.Argument(
            parser=folder_named, metavar="FOLDER", help="Folder of a render or a comparison."
        ),
    ],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, not text.")] = False,
) -> None:
    """Read all outputs of a folder again: whole, unchanged, adding up, and nothing else there.

    Ends with 0 if all holds, 1 if an output does not.
    """
    from seatwright.console import progress_bar
    from seatwright.verify import verify
    from seatwright.views.verified import verified_text

    with progress_bar() as progress:
        found = verify(folder, progress)
    typer.echo(found.as_json() if as_json else verified_text(found), nl=False)
    if not found.holds:
        raise typer.Exit(1)
