"""The command that drafts a scene from a folder of stems."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from seatwright.commands.store_doubts import let_go


def draft_command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of stems.")],
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="SCENE", help="Scene file [name of FOLDER.toml]."),
    ] = None,
    layout: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="violins-together, violins-divided, scoring-stage or chamber [by what is there].",
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print every guess as JSON; asks nothing.")
    ] = False,
) -> None:
    """A first scene from the names of a folder of stems; a scene there already only grows."""
    from seatwright.console import asked_part
    from seatwright.disk.store_place import usual_store
    from seatwright.drafting import draft
    from seatwright.views.draft_text import draft_report

    store, doubts = usual_store()
    asks = not as_json and sys.stdin.isatty() and sys.stderr.isatty()
    scene = out or Path(folder.resolve().name + ".toml")
    asked = {"ask": asked_part} if asks else {}
    drafted = draft(folder, scene, layout, **asked, store=store)
    let_go(store, doubts)
    typer.echo(
        draft_report(
            drafted.seats,
            drafted.open_names,
            drafted.layout,
            drafted.layout_why,
            str(scene),
            drafted.kept,
            as_json,
            drafted.stems,
            drafted.refused,
            drafted.faults,
        ),
        nl=False,
    )
