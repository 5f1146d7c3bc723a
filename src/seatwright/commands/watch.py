"""The command that renders a scene again whenever it is saved."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from seatwright.commands.arguments import SceneArgument, folder_named


def watch_command(
    scene: SceneArgument,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            "-o",
            parser=folder_named,
            metavar="FOLDER",
            help="Folder of the outputs [that of render, with seating and part].",
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
        typer.Option(
            "--from",
            metavar="SECONDS",
            min=0.0,
            help="Begin of the excerpt [30 s where most stems sound].",
        ),
    ] = None,
    stop: Annotated[
        float | None,
        typer.Option(
            "--to", metavar="SECONDS", min=0.0, help="End of the excerpt [30 s after the begin]."
        ),
    ] = None,
    whole: Annotated[bool, typer.Option("--whole", help="The whole scene, no excerpt.")] = False,
    poll: Annotated[
        bool,
        typer.Option("--poll", help="Look twice a second, for disks that send no notices."),
    ] = False,
    still: Annotated[
        float,
        typer.Option(
            metavar="SECONDS",
            min=0.1,
            max=60.0,
            help="For which a stem must not change before it is taken.",
        ),
    ] = 0.7,
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
        typer.Option(metavar="DB", help="Gain on all outputs [that of the first render]."),
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
) -> None:
    """Render, and again whenever the scene, a stem or its head is saved; Ctrl-C ends it.

    Set a low monitoring level before the first listening.
    """
    from functools import partial

    from seatwright.console import progress_bar
    from seatwright.disk.watching import Notices
    from seatwright.kept_render import kept_render
    from seatwright.stage.request import Request
    from seatwright.watch import watch
    from seatwright.watch_order import Surroundings, WatchOrder

    request = Request(
        seating, tuple(only or ()), start, stop, stems, perspectives, kind, depth, trim, threads,
        allow_truncated, allow_outside,
    )  # fmt: skip
    order = WatchOrder(scene, request, out, whole, still)

    def complain(line: object) -> None:
        typer.echo(str(line), err=True)

    with Notices(poll) as notices:
        watch(
            order,
            Surroundings(
                notices,
                say=typer.echo,
                complain=complain,
                bar=progress_bar,
                render=partial(kept_render, complain=complain),
            ),
        )
