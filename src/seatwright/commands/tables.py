"""Commands that list what is known: schema, surfaces, halls, instruments."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def schema_command() -> None:
    """JSON Schema of the scene file, for editors."""
    import json

    from seatwright.stage.scene import scene_schema

    typer.echo(json.dumps(scene_schema(), indent=2))


def surfaces_command() -> None:
    """Named surfaces and their absorption per octave band."""
    from seatwright.stage.bands import BAND_NAMES
    from seatwright.stage.surfaces import material_table
    from seatwright.views.text_table import text_table

    rows = [[name, *(f"{v:.2f}" for v in bands)] for name, bands in material_table().items()]
    typer.echo(text_table(["surface", *BAND_NAMES], rows))


def halls_command(
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, not a table.")] = False,
) -> None:
    """Named starting halls, their size, volume and reverberation per octave band."""
    from seatwright.views.hall_list import halls_json, halls_table

    typer.echo(halls_json() if as_json else halls_table())


def instruments_command(
    polar: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Draw which way they radiate, one SVG a section, instead."
        ),
    ] = None,
) -> None:
    """Known instruments, their section, height and usual width."""
    from seatwright.stage.instruments import INSTRUMENTS
    from seatwright.views.text_table import text_table

    if polar is not None:
        _draw_radiation(polar)
        return
    rows = [
        [name, known.family, f"{known.height:.1f}", f"{known.players}", f"{known.width:.1f}"]
        for name, known in INSTRUMENTS.items()
    ]
    typer.echo(text_table(["instrument", "section", "height m", "players", "width m"], rows))


def _draw_radiation(folder: Path) -> None:
    from seatwright.disk.text_files import write_text_files
    from seatwright.errors import printable
    from seatwright.views.polar_plot import polar_plots

    plots = {f"{family}.svg": drawing for family, drawing in polar_plots().items()}
    for file in write_text_files(folder, plots):
        typer.echo(printable(str(file)))
