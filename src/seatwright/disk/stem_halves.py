"""Left and right files of a folder that no render would take for one stem."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

from seatwright.disk.folder_listing import Folders
from seatwright.disk.stem_paths import HALF_HINT, SIDE, lonely_half, other_halves
from seatwright.errors import Fault, StemError
from seatwright.sound.inspection import StemInspection


def unfit_halves(
    inspected: Mapping[Path, StemInspection], unread: Collection[Path]
) -> dict[Path, StemError]:
    """Halves without their other half, or with one they do not fit.

    Parameters
    ----------
    inspected : mapping of Path to StemInspection
        Files of one folder that can be read.
    unread : collection of Path
        Files of it that cannot.

    Returns
    -------
    dict of Path to StemError
        In the order of `inspected`; both halves of a pair that is unequal.
    """
    others = dict(_others(inspected))
    faults = {
        path: StemError(Fault(what, file=str(path), hint=hint))
        for path, found in others.items()
        for what, hint in _unfit(path, found, inspected, unread)
    }
    left = {
        path: StemError(Fault(_left_alone(found[0]), file=str(path), hint=HALF_HINT))
        for path, found in others.items()
        if path not in faults and found[0] in faults
    }
    return {path: error for path in others if (error := faults.get(path) or left.get(path))}


def _others(paths: Collection[Path]) -> Iterator[tuple[Path, list[Path]]]:
    """Every half with the files that can be its other half."""
    folders: dict[Path, Folders] = {}
    for path in paths:
        if match := SIDE.fullmatch(path.name):
            listed = folders.setdefault(path.parent, Folders(path.parent))
            yield path, other_halves(listed, path, match)


def _unfit(
    path: Path,
    others: list[Path],
    inspected: Mapping[Path, StemInspection],
    unread: Collection[Path],
) -> Iterator[tuple[str, str]]:
    """What is wrong with a half and what helps; nothing where it fits its other half."""
    if not others:
        yield lonely_half(path), HALF_HINT
    elif len(others) > 1:
        names = " and ".join(other.name for other in others)
        yield f"found {names} beside it, wanted one other side", "remove or rename one of them"
    elif others[0] in unread:
        yield _left_alone(others[0]), HALF_HINT
    elif others[0] in inspected:
        yield from _unequal(inspected[path], inspected[others[0]], others[0].name)


def _left_alone(other: Path) -> str:
    return f"found an other side that cannot be rendered, {other.name}, wanted both"


def _unequal(own: StemInspection, other: StemInspection, name: str) -> Iterator[tuple[str, str]]:
    if own.channels != 1 or other.channels != 1:
        found = f"found {own.channels} and in {name} {other.channels} channels"
        yield f"{found}, wanted a left and a right file of one channel each", HALF_HINT
    elif (own.rate, own.sound.frames) != (other.rate, other.sound.frames):
        yield (
            f"found {own.sound.frames} frames at {own.rate} Hz and in {name} "
            f"{other.sound.frames} at {other.rate} Hz, wanted the two of one length and rate",
            "export the two again",
        )
