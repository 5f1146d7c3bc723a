"""What several commands take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

SceneArgument = Annotated[Path, typer.Argument(metavar="SCENE", help="Scene file (TOML).")]
SeatingOption = Annotated[
    str | None, typer.Option(metavar="NAME", help="An alternative seating of the scene.")
]
OnlyOption = Annotated[
    list[str] | None,
    typer.Option(metavar="NAME", help="Only this section or seat; may be given again."),
]
StemsOption = Annotated[bool, typer.Option("--stems", help="Also one bounce a stem.")]
PerspectivesOption = Annotated[
    bool, typer.Option("--perspectives", help="Also one bounce a perspective.")
]
KindOption = Annotated[Literal["wav", "flac"], typer.Option("--format", help="File format.")]
DepthOption = Annotated[
    Literal["16", "24", "float"], typer.Option(help="Bits a sample; float has 32.")
]
ThreadsOption = Annotated[
    int, typer.Option(min=0, max=256, help="0: one a processor. Never changes the sound.")
]
TruncatedOption = Annotated[
    bool, typer.Option("--allow-truncated", help="Take cut-off stems as far as they go.")
]
OutsideOption = Annotated[
    bool, typer.Option("--allow-outside", help="Accept stems outside the stems folder.")
]


def ballot_named(text: str) -> Path:
    """A ballot; "" would be the current folder, which nobody means."""
    if not text.strip():
        raise typer.BadParameter("found an empty argument, wanted a ballot; this folder is '.'")
    return Path(text)


def folder_named(text: str) -> Path:
    """A folder; "" would be the current one, which nobody means."""
    if not text:
        raise typer.BadParameter("found no name, wanted a folder; this one is '.'")
    return Path(text)
