"""What was rendered last, and what a newer state of its files has beyond it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from seatwright.disk.settling import State
from seatwright.disk.stems import content_hash
from seatwright.disk.watching import WatchedFiles
from seatwright.errors import StemError
from seatwright.listening.scene_changes import same_scene, scene_changes
from seatwright.stage.scene import Scene
from seatwright.views.report import Report


@dataclass(frozen=True)
class SceneState:
    """A scene and everything it reads at one moment.

    Parameters
    ----------
    scene : Scene
        Seated.
    heard : tuple of str
        Seats that sound.
    states : mapping of Path to State
        Of all its files when they were taken.
    contents : mapping of Path to str
        SHA-256 of its stems and its head, as far as they are known.
    """

    scene: Scene
    heard: tuple[str, ...]
    states: Mapping[Path, State]
    contents: Mapping[Path, str]


def contents_of(
    files: WatchedFiles, states: Mapping[Path, State], earlier: SceneState
) -> dict[Path, str]:
    """Hash stems and head; those that stand as they did in an earlier state are not read again.

    Parameters
    ----------
    files : WatchedFiles
    states : mapping of Path to State
    earlier : SceneState

    Returns
    -------
    dict of Path to str
        "" for a file that cannot be read.
    """
    return {
        path: earlier.contents[path]
        if states.get(path) == earlier.states.get(path) and path in earlier.contents
        else _hash(path)
        for path in files.inputs[1:]
    }


def rendered_contents(files: WatchedFiles, report: Report) -> dict[Path, str]:
    """Contents of the files of a finished render, whose report holds the hashes of its stems."""
    known = {Path(row.file): row.sha256 for row in report.stems}
    return {path: known.get(path) or _hash(path) for path in files.inputs[1:]}


def is_same(before: SceneState, now: SceneState) -> bool:
    """Whether a render of both would be the same."""
    same = same_scene(before.scene, now.scene) and before.heard == now.heard
    return same and dict(before.contents) == dict(now.contents)


def changes_between(before: SceneState, now: SceneState) -> tuple[str, ...]:
    """What a listener should know of: seats, keys of the scene, then files with new contents.

    Parameters
    ----------
    before, now : SceneState

    Returns
    -------
    tuple of str
        Such as "violas moved 0.8 m" and "horns.wav exported anew".
    """
    words = scene_changes(before.scene, now.scene, before.heard, now.heard)
    anew = [
        path.name
        for path, content in now.contents.items()
        if path in before.contents and content != before.contents[path]
    ]
    if len(anew) > 3:
        return (*words, f"{anew[0]}, {anew[1]} and {len(anew) - 2} more files exported anew")
    return (*words, *(f"{name} exported anew" for name in anew))


def _hash(path: Path) -> str:
    try:
        return content_hash(path)
    except StemError:  # the render tells what is wrong with it
        return ""
