"""The command that renders a scene."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from seatwright.commands.arguments import SceneArgument, folder_named


def render_command(
    scene: SceneArgument,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            "-o",
            parser=folder_named,
            metavar="FOLDER",
            help="Folder of the outputs [renders/SCENE, with seating and part].",
        ),
    ] = None,
    seating: Annotated[
        str | None, typer.Option(metavar="NAME", help="An alternative seating of the scene.")
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Only this section or seat; may be given again."),
    ] = None,
    start: Annotated[
        float | None,
        typer.Option("--from", metavar="SECONDS", min=0.0, help="Begin of an excerpt."),
    ] = None,
    stop: Annotated[
        float | None, typer.Option("--to", metavar="SECONDS", min=0.0, help="End of an excerpt.")
    ] = None,
    stems: Annotated[bool, typer.Option("--stems", help="Also one bounce a stem.")] = False,
    perspectives: Annotated[
        bool, typer.Option("--perspectives", help="Also one bounce a perspective.")
    ] = False,
    kind: Annotated[Literal["wav", "flac"], typer.Option("--format", help="File format.")] = "wav",
    depth: Annotated[
        Literal["16", "24", "float"], typer.Option(help="Bits a sample; float has 32.")
    ] = "24",
    trim: Annotated[
        float | None,
        typer.Option(metavar="DB", help="Gain on all outputs [what keeps all below -1 dBTP]."),
    ] = None,
    threads: Annotated[
        int, typer.Option(min=0, max=256, help="0: one a processor. Never changes the sound.")
    ] = 0,
    allow_truncated: Annotated[
        bool, typer.Option("--allow-truncated", help="Take cut-off stems as far as they go.")
    ] = False,
    allow_outside: Annotated[
        bool, typer.Option("--allow-outside", help="Accept stems outside the stems folder.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the report as JSON, not as a table.")
    ] = False,
) -> None:
    """Mix, section bounces, on request stem and perspective bounces, a report.

    Set a low monitoring level before the first listening.
    """
    from seatwright.console import progress_bar
    from seatwright.errors import printable
    from seatwright.render import default_folder, render
    from seatwright.stage.request import Request
    from seatwright.views.report import report_table

    request = Request(
        seating, tuple(only or ()), start, stop, stems, perspectives, kind, depth, trim, threads,
        allow_truncated, allow_outside,
    )  # fmt: skip
    folder = out or default_folder(scene, request)
    with progress_bar() as progress:
        report = render(scene, folder, request, progress)
    typer.echo(report.as_json() if as_json else report_table(report), nl=False)
    typer.echo(f"\nwritten to {printable(str(folder))}", err=True)
