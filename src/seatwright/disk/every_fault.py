"""A scene with its head and its stems, or every fault of all of them at once.

A scene that is wrong may still name stems that can be looked at, and a missing stem need not hide
what is wrong with another. Nothing outside the stems folder is opened, as when a scene is read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from seatwright.acoustics.head import HeadModel
from seatwright.disk.casting import Cast, cast_scene
from seatwright.disk.folder_listing import is_folder
from seatwright.disk.heads import head_of, scene_head
from seatwright.disk.inspected import inspected_stems
from seatwright.disk.scene_checks import (
    openable_stems,
    outside_faults,
    too_many_stems,
    written_names,
)
from seatwright.disk.scene_file import ReadScene, in_order, read_scene, scene_bytes
from seatwright.disk.stem_paths import stem_folder
from seatwright.disk.toml_text import decoded, parsed
from seatwright.errors import Fault, SceneError, StemError


def read_and_cast(
    path: Path, *, allow_outside: bool = False, allow_truncated: bool = False
) -> tuple[ReadScene, Cast, HeadModel]:
    """Read a scene, the head it listens with, and cast its stems.

    Parameters
    ----------
    path : Path
        Scene file.
    allow_outside, allow_truncated : bool
        As in `read_scene` and `cast_scene`.

    Returns
    -------
    read : ReadScene
    cast : Cast
    head : HeadModel

    Raises
    ------
    SceneError
        With every fault of the scene and its head, and of the stems it names as far as these can
        be told.
    StemError
        With every fault of every stem, where the scene itself is right.
    """
    try:
        read = read_scene(path, allow_outside=allow_outside)
    except SceneError as error:
        beside = _beside_scene_faults(path, allow_outside, allow_truncated)
        raise SceneError(dict.fromkeys([*error.faults, *beside])) from None
    wrong: list[SceneError | StemError] = []
    try:
        head = scene_head(read)
    except SceneError as error:
        wrong.append(error)
    try:
        cast = cast_scene(read, allow_truncated=allow_truncated)
    except StemError as error:
        wrong.append(error)
    if wrong:
        raise type(wrong[0])(fault for error in wrong for fault in error.faults)
    return read, cast, head


def _beside_scene_faults(path: Path, allow_outside: bool, allow_truncated: bool) -> list[Fault]:
    """What can be told of the head and the stems of a scene that has faults of its own."""
    try:
        text, faults = decoded(scene_bytes(path))
    except SceneError:
        return []
    table, faults = ({}, faults) if faults else parsed(text)
    if faults or any(too_many_stems(table)):
        return []
    folder = path.parent.absolute()
    found = [
        *_head_faults(table, folder, allow_outside),
        *_stem_faults(table, folder, allow_outside, allow_truncated),
    ]
    return in_order(found, path, text)


def _head_faults(table: Mapping[str, Any], folder: Path, allow_outside: bool) -> Iterator[Fault]:
    """Of a SOFA file; a model that is none, or no path, is a fault of the scene itself."""
    model: Any = table
    for key in ("microphones", "head", "model"):
        model = model.get(key) if isinstance(model, dict) else None
    if not isinstance(model, str) or "\0" in model or not model.lower().endswith(".sofa"):
        return
    try:
        head_of(model, folder, allow_outside)
    except SceneError as error:
        yield from error.faults


def _stem_faults(
    table: Mapping[str, Any], folder: Path, allow_outside: bool, allow_truncated: bool
) -> list[Fault]:
    stems = table.get("stems", ".")
    if not isinstance(stems, str) or "\0" in stems:
        return []
    root = stem_folder(folder, stems)
    refused = [] if allow_outside else outside_faults(table, folder)
    if any(fault.key == "stems" for fault in refused) or not is_folder(root):
        return []
    files, missing = openable_stems(written_names(table), root, allow_outside)
    return [*missing, *inspected_stems(files, root, allow_truncated).faults]
