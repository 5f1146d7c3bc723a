"""The command that renders a scene again whenever it is saved."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seatwright.commands.arguments import (
    DepthOption,
    KindOption,
    OnlyOption,
    OutsideOption,
    PerspectivesOption,
    SceneArgument,
    SeatingOption,
    StemsOption,
    ThreadsOption,
    TruncatedOption,
    folder_named,
)


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
    seating: SeatingOption = None,
    only: OnlyOption = None,
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
    stems: StemsOption = False,
    perspectives: PerspectivesOption = False,
    kind: KindOption = "wav",
    depth: DepthOption = "24",
    trim: Annotated[
        float | None,
        typer.Option(metavar="DB", help="Gain on all outputs [that of the first render]."),
    ] = None,
    threads: ThreadsOption = 0,
    allow_truncated: TruncatedOption = False,
    allow_outside: OutsideOption = False,
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
