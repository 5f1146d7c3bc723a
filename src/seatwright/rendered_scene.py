"""What was rendered last, and what a newer state of its files has beyond it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
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
        SHA-256 of its stems and its head once it is rendered.
    """

    scene: Scene
    heard: tuple[str, ...]
    states: Mapping[Path, State]
    contents: Mapping[Path, str] = field(default_factory=dict)


def rendered_contents(files: WatchedFiles, report: Report) -> dict[Path, str]:
    """Contents of what a finished render read; its report holds the hashes of its stems."""
    known = {Path(row.file): row.sha256 for row in report.stems}
    return {path: known.get(path) or _hash(path) for path in files.inputs[1:]}


def is_same(before: SceneState, now: SceneState, files: WatchedFiles) -> bool:
    """Whether a render would be the same again.

    Only files that do not stand as they did are read, up to the first with new contents: the
    render that follows then hashes all of them anyway.

    Parameters
    ----------
    before : SceneState
        As it was rendered.
    now : SceneState
        Its contents need not be known.
    files : WatchedFiles
        What it reads now.

    Returns
    -------
    bool
    """
    same = same_scene(before.scene, now.scene) and before.heard == now.heard
    if not same or set(files.inputs[1:]) != before.contents.keys():
        return False
    return all(
        now.states.get(path) == before.states.get(path) or _hash(path) == content
        for path, content in before.contents.items()
    )


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
    return (*words, *(f"{name} {_came(name)}" for name in anew))


def _came(name: str) -> str:
    return "replaced" if name.lower().endswith(".sofa") else "exported anew"


def _hash(path: Path) -> str:
    try:
        return content_hash(path)
    except StemError:  # the render tells what is wrong with it
        return ""
