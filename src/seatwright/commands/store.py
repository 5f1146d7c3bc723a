"""The command that looks at the store of results and clears it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seatwright.commands.arguments import folder_named


def store_command(
    folder: Annotated[
        Path | None,
        typer.Option(
            parser=folder_named, metavar="FOLDER", help="Another store than the usual one."
        ),
    ] = None,
    clear: Annotated[bool, typer.Option("--clear", help="Remove all results.")] = False,
    limit: Annotated[
        float | None,
        typer.Option(metavar="GB", help="How large it may grow from now on, in 10^9 bytes."),
    ] = None,
    verify: Annotated[
        bool, typer.Option("--verify", help="Read all results through; damaged ones are removed.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, not a table.")] = False,
) -> None:
    """Results that later renders find again: how many, how large; to limit, verify and clear.

    Nothing in it is worth a backup: whatever is missing is computed again.
    """
    from seatwright.stored import look_at_store
    from seatwright.views.store_table import store_json, store_table

    found = look_at_store(folder, clear=clear, limit_gb=limit, verify=verify)
    typer.echo(store_json(found) if as_json else store_table(found), nl=False)
