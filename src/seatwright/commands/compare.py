"""The command that makes versions comparable."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from seatwright.commands.arguments import OutsideOption, ThreadsOption, TruncatedOption
from seatwright.commands.store_doubts import let_go


def compare_command(
    versions: Annotated[
        list[str],
        typer.Argument(
            metavar="SCENE A B ...",
            help="A scene and its seatings ('written' is the scene without any), more scenes, "
            "ready-made mixes.",
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FOLDER", help="Folder of the comparison [compared/SCENE]."
        ),
    ] = None,
    start: Annotated[
        float | None,
        typer.Option(
            "--from", metavar="SECONDS", min=0.0, help="Begin of the stretch [the loudest 75 s]."
        ),
    ] = None,
    stop: Annotated[
        float | None, typer.Option("--to", metavar="SECONDS", min=0.0, help="End of the stretch.")
    ] = None,
    title: Annotated[str, typer.Option(metavar="TEXT", help="Above the page [the scene's].")] = "",
    twin: Annotated[
        bool, typer.Option("--twin", help="Hide a second copy of the first version.")
    ] = False,
    identify: Annotated[
        int,
        typer.Option(
            metavar="TRIALS", min=0, max=100, help="Also ask which of the first two is heard."
        ),
    ] = 0,
    difference: Annotated[
        bool, typer.Option("--difference", help="Also what each version has beyond the first.")
    ] = False,
    audio: Annotated[
        Literal["auto", "flac", "vorbis"],
        typer.Option(help="What the page carries: lossless, lossy, or lossless if below 25 MB."),
    ] = "auto",
    sections: Annotated[
        bool, typer.Option("--sections", help="The page also plays each section alone.")
    ] = False,
    threads: ThreadsOption = 0,
    allow_truncated: TruncatedOption = False,
    allow_outside: OutsideOption = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the comparison as JSON, not as tables.")
    ] = False,
) -> None:
    """Versions made equally loud, a page to hear them blind and vote, what differs between them.

    Set a low monitoring level before the first listening.
    """
    from seatwright.compare import CompareRequest, compare
    from seatwright.console import progress_bar
    from seatwright.disk.store_place import usual_store
    from seatwright.errors import printable
    from seatwright.views.compare_table import compare_table

    request = CompareRequest(
        start, stop, title, twin, identify, difference, audio, sections, threads,
        allow_truncated, allow_outside,
    )  # fmt: skip
    folder = out or Path("compared") / (Path(versions[0]).stem or "mixes")
    store, doubts = usual_store()
    with progress_bar() as progress:
        made = compare(versions, folder, request, progress, store)
    let_go(store, doubts)
    typer.echo(made.as_json() if as_json else compare_table(made), nl=False)
    typer.echo(f"\nwritten to {printable(str(folder))}", err=True)
