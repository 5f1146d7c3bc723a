"""What several commands take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

SceneArgument = Annotated[Path, typer.Argument(metavar="SCENE", help="Scene file (TOML).")]


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
