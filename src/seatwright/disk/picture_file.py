"""Pictures on disk: SVG as it is, PNG drawn from it."""

from __future__ import annotations

from pathlib import Path

from seatwright.disk.whole_file import write_whole
from seatwright.errors import Fault, SceneError


def write_picture(path: Path, svg: str) -> None:
    """Write a picture, complete or not at all.

    Parameters
    ----------
    path : Path
        Ends in .svg or .png.
    svg : str

    Raises
    ------
    SceneError
        For any other ending, or for PNG where the package that draws it is not installed.
    DiskError
        If the disk refuses.
    """
    ending = path.suffix.lower()
    if ending == ".svg":
        write_whole(path, svg.encode())
    elif ending == ".png":
        write_whole(path, _drawn(svg))
    else:
        found = f'found the ending "{path.suffix}", wanted .svg or .png'
        raise SceneError(Fault(found, file=str(path)))


def _drawn(svg: str) -> bytes:
    try:
        import resvg_py
    except ImportError as error:
        found = "PNG needs the package resvg-py, which is not installed"
        hint = "pip install resvg-py, or write .svg"
        raise SceneError(Fault(found, hint=hint)) from error
    return bytes(resvg_py.svg_to_bytes(svg_string=svg))
