"""Where a page may be written: under a name of its own, never over what it was made of."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from seatwright.errors import Fault, SceneError


def refuse_page_place(path: Path, inputs: Iterable[Path]) -> None:
    """Refuse a page's path before anything is computed.

    Parameters
    ----------
    path : Path
        Ends in .html or .htm.
    inputs : iterable of Path
        The scene and its stems.

    Raises
    ------
    SceneError
        For any other ending, and where the page would overwrite an input.
    """
    if path.suffix.lower() not in (".html", ".htm"):
        found = f'found the ending "{path.suffix}", wanted .html'
        raise SceneError(Fault(found, file=str(path)))
    for source in inputs:
        with suppress(OSError):
            if path.samefile(source):
                what = f"this page would overwrite the input {source}"
                raise SceneError(Fault(what, file=str(path), hint="choose another file"))
