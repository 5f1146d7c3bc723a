"""What a person should know about how a render fits others, and about the folder it went to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from seatwright.stage.request import Request

_NAMED = 8


def trim_notes(request: Request, trim_db: float, whole: tuple[str, float] | None) -> list[str]:
    """Where a part or a seating found its own trim: the way to make it fit the whole scene.

    Parameters
    ----------
    request : Request
    trim_db : float
        As it was found.
    whole : (str, float) or None
        Folder of an earlier render of the whole scene and its trim in dB.
    """
    if request.trim_db is not None or not (request.part or request.seating):
        return []
    alone = f"{request.part} alone" if request.part else f"seating {request.seating} alone"
    found = f"trim {trim_db:+.2f} dB was found from {alone}"
    if whole is None:
        return [f"{found}; give it the trim of the whole scene with --trim, and levels compare"]
    folder, whole_db = whole
    if whole_db == trim_db:
        return []
    return [f"{found}; --trim {whole_db:.6g} is that of {folder}, and makes levels compare"]


def excerpt_notes(request: Request, seconds: float) -> list[str]:
    """An end asked for that lies behind the outputs' own, `seconds` after their begin."""
    if request.stop is None or request.stop <= seconds + 0.5e-3:
        return []
    return [f"found an end at {request.stop:g} s, but all is over after {seconds:.2f} s"]


def foreign_notes(files: Sequence[str]) -> list[str]:
    """Audio files between the outputs that are none of them."""
    if not files:
        return []
    more = f" and {len(files) - _NAMED} more" if len(files) > _NAMED else ""
    return [f"left as it is, not from this render: {', '.join(files[:_NAMED])}{more}"]


def renamed_notes(outputs: Iterable[tuple[str, str, str]]) -> list[str]:
    """Outputs whose file is not called as what it holds, since not every disk takes such a name.

    Parameters
    ----------
    outputs : iterable of (str, str, str)
        Kind, name and file of every output.
    """
    return [
        f'"{name}" is written to {file}: not every disk takes that name'
        for kind, name, file in outputs
        if kind != "mix" and file.rpartition("/")[2].rpartition(".")[0] != name
    ]
