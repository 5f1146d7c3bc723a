"""The command that renders scenes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seatwright.commands.arguments import (
    DepthOption,
    KindOption,
    OnlyOption,
    OutsideOption,
    PerspectivesOption,
    SeatingOption,
    StemsOption,
    ThreadsOption,
    TruncatedOption,
    folder_named,
)

if TYPE_CHECKING:
    from seatwright.executors.attempt import Executor
    from seatwright.stage.request import Request


def render_command(
    scenes: Annotated[
        list[Path],
        typer.Argument(metavar="SCENE...", help="Scene files (TOML), each rendered by itself."),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            "-o",
            parser=folder_named,
            metavar="FOLDER",
            help="Folder of the outputs [renders/SCENE, with seating and part]; "
            "of several scenes it holds a folder each.",
        ),
    ] = None,
    seating: SeatingOption = None,
    only: OnlyOption = None,
    start: Annotated[
        float | None,
        typer.Option("--from", metavar="SECONDS", min=0.0, help="Begin of an excerpt."),
    ] = None,
    stop: Annotated[
        float | None, typer.Option("--to", metavar="SECONDS", min=0.0, help="End of an excerpt.")
    ] = None,
    stems: StemsOption = False,
    perspectives: PerspectivesOption = False,
    kind: KindOption = "wav",
    depth: DepthOption = "24",
    trim: Annotated[
        float | None,
        typer.Option(metavar="DB", help="Gain on all outputs [what keeps all below -1 dBTP]."),
    ] = None,
    threads: ThreadsOption = 0,
    jobs: Annotated[
        int,
        typer.Option(
            metavar="N",
            min=1,
            max=256,
            help="Scenes rendered at a time, each in its own process; they divide the threads.",
        ),
    ] = 1,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="Render on the cluster of this dask scheduler; all its workers must see scenes, "
            "stems and outputs under the same paths as this machine.",
        ),
    ] = None,
    all_or_nothing: Annotated[
        bool,
        typer.Option("--all-or-nothing", help="Render no scene if the check finds one faulty."),
    ] = False,
    allow_truncated: TruncatedOption = False,
    allow_outside: OutsideOption = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the report as JSON, not as a table.")
    ] = False,
) -> None:
    """Mix, section bounces, on request stem and perspective bounces, a report.

    Set a low monitoring level before the first listening.
    """
    from seatwright.stage.request import Request

    if scheduler is not None and jobs > 1:
        raise typer.BadParameter("found --jobs and --scheduler, wanted one: workers decide there")
    request = Request(
        seating, tuple(only or ()), start, stop, stems, perspectives, kind, depth, trim, threads,
        allow_truncated, allow_outside,
    )  # fmt: skip
    if len(scenes) == 1 and scheduler is None:
        _render_one(scenes[0], out, request, as_json)
    else:
        executor = _executor(min(jobs, len(scenes)), scheduler, threads)
        _render_many(scenes, out, request, executor, all_or_nothing, as_json)


def _render_one(scene: Path, out: Path | None, request: Request, as_json: bool) -> None:
    from seatwright.console import progress_bar
    from seatwright.errors import Fault, printable
    from seatwright.kept_render import kept_render
    from seatwright.render import default_folder
    from seatwright.views.report import report_table

    doubts: list[Fault] = []
    folder = out or default_folder(scene, request)
    with progress_bar() as progress:
        report = kept_render(scene, folder, request, progress, doubts.append)
    typer.echo(report.as_json() if as_json else report_table(report), nl=False)
    for doubt in doubts:
        typer.echo(f"\nwarning: {doubt}", err=True)
    done = "nothing has changed: all stands as it was in" if report.unchanged else "written to"
    typer.echo(f"\n{done} {printable(str(folder))}", err=True)


def _render_many(
    scenes: list[Path],
    out: Path | None,
    request: Request,
    executor: Executor,
    all_or_nothing: bool,
    as_json: bool,
) -> None:
    from seatwright.commands.cue_watch import cue_watch
    from seatwright.cues import cues_of, render_cues
    from seatwright.views.cue_table import cue_table, cues_json, worst_exit_code

    cues = cues_of(scenes, out, request)
    with cue_watch(len(cues)) as watch:
        rows = render_cues(cues, executor, watch, all_or_nothing)
    typer.echo(cues_json(rows) if as_json else cue_table(rows), nl=False)
    raise typer.Exit(worst_exit_code(rows))


def _executor(jobs: int, scheduler: str | None, threads: int) -> Executor:
    if scheduler is not None:
        from seatwright.executors.cluster import Cluster

        return Cluster(scheduler)
    if jobs > 1:
        from seatwright.executors.processes import Processes

        return Processes(jobs, threads)
    from seatwright.executors.in_turn import InTurn

    return InTurn()
