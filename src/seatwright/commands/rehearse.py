"""The command that serves the rehearsal page."""

from __future__ import annotations

from typing import Annotated

import typer

from seatwright.commands.arguments import OutsideOption, SceneArgument, TruncatedOption


def rehearse_command(
    scene: SceneArgument,
    seating: Annotated[
        str | None, typer.Option(metavar="NAME", help="Begin with an alternative seating.")
    ] = None,
    start: Annotated[
        float | None,
        typer.Option(
            "--from",
            metavar="SECONDS",
            min=0.0,
            help="Begin of the loop [15 s in which most seats sound].",
        ),
    ] = None,
    stop: Annotated[
        float | None, typer.Option("--to", metavar="SECONDS", min=0.0, help="End of the loop.")
    ] = None,
    port: Annotated[
        int, typer.Option(metavar="PORT", min=0, max=65535, help="Of this machine; 0: any free.")
    ] = 0,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Only print the address.")
    ] = False,
    allow_truncated: TruncatedOption = False,
    allow_outside: OutsideOption = False,
) -> None:
    """Move chairs on a local page and hear them while a loop plays.

    Set a low monitoring level before the first listening. Ctrl-C ends it.
    """
    from seatwright.serving.sitting import sit
    from seatwright.stage.request import Request

    request = Request(
        seating,
        start=start,
        stop=stop,
        allow_truncated=allow_truncated,
        allow_outside=allow_outside,
    )
    sit(scene, request, port, not no_browser)
