"""What several commands take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

SceneArgument = Annotated[Path, typer.Argument(metavar="SCENE", help="Scene file (TOML).")]


def folder_named(text: str) -> Path:
    """A folder; "" would be the current one, which nobody means."""
    if not text:
        raise typer.BadParameter("found no name, wanted a folder; this one is '.'")
    return Path(text)
