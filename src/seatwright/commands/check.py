"""The command that checks a scene."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seatwright.commands.arguments import (
    OutsideOption,
    SceneArgument,
    SeatingOption,
    TruncatedOption,
)
from seatwright.commands.store_doubts import let_go


def check_command(
    scene: SceneArgument,
    seating: SeatingOption = None,
    threads: Annotated[
        int, typer.Option(min=0, max=256, help="0: one a processor. Never changes a figure.")
    ] = 0,
    allow_truncated: TruncatedOption = False,
    allow_outside: OutsideOption = False,
    headers_only: Annotated[
        bool, typer.Option("--headers-only", help="Do not listen to the stems; faster.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the figures as JSON, not as tables.")
    ] = False,
    page: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Also a page with plots that opens from disk."),
    ] = None,
) -> None:
    """Every fault of a scene and its stems at once, else each seat and the hall in figures."""
    from seatwright.check import check
    from seatwright.console import progress_bar
    from seatwright.disk.store_place import usual_store
    from seatwright.errors import printable
    from seatwright.views.check_table import check_table

    store, doubts = usual_store()
    with progress_bar() as progress:
        found = check(
            scene, seating, allow_truncated=allow_truncated, allow_outside=allow_outside,
            headers_only=headers_only, threads=threads, progress=progress, page=page, store=store,
        )  # fmt: skip
    let_go(store, doubts)
    typer.echo(found.as_json() if as_json else check_table(found), nl=False)
    if page is not None:
        typer.echo(f"\nwritten to {printable(str(page))}", err=True)
