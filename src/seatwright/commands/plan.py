"""The command that draws the stage plan."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seatwright.commands.arguments import SceneArgument, SeatingOption


def plan_command(
    scene: SceneArgument,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FILE", help="SVG or PNG, by its ending [name of SCENE.svg]."
        ),
    ] = None,
    seating: SeatingOption = None,
    moved_from: Annotated[
        str | None,
        typer.Option(
            "--moved-from",
            metavar="NAME",
            help="Also this seating, dashed, and the moves; 'written' is the scene as written.",
        ),
    ] = None,
) -> None:
    """The stage plan: a seating chart with microphones, hall and scale."""
    from seatwright.errors import printable
    from seatwright.plans import write_plan

    path = out or Path(scene.stem + (f" {seating}" if seating else "") + ".svg")
    write_plan(scene, path, seating, moved_from)
    typer.echo(f"written to {printable(str(path))}", err=True)
