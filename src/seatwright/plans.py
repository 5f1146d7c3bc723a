"""Plan: from a scene to its seating chart on disk."""

from __future__ import annotations

from pathlib import Path

from seatwright.disk.picture_file import write_picture
from seatwright.disk.scene_file import ReadScene, read_scene
from seatwright.stage.scene import Scene
from seatwright.views.stage_plan import stage_plan

AS_WRITTEN = "written"
"""Names the scene without any alternative, where it has none of this name."""


def write_plan(
    scene_path: Path, path: Path, seating: str | None = None, moved_from: str | None = None
) -> None:
    """Draw a scene.

    Parameters
    ----------
    scene_path : Path
        Its stems are not opened.
    path : Path
        Ends in .svg or .png.
    seating : str, optional
        An alternative of the scene.
    moved_from : str, optional
        Another one, or "written"; seats that differ are drawn dashed, with their moves.

    Raises
    ------
    SeatwrightError
        SceneError or DiskError.
    """
    read = read_scene(scene_path, allow_outside=True)  # wherever stems are, none is opened
    shown = seated(read, seating)
    against = seated(read, moved_from) if moved_from is not None else None
    parts = [read.scene.title or scene_path.stem, seating or ""]
    title = ", ".join(part for part in parts if part)
    if moved_from is not None:
        title += f" (dashed: {moved_from})"
    write_picture(path, stage_plan(shown, against, title))


def seated(read: ReadScene, seating: str | None) -> Scene:
    """The scene in one of its seatings, "written" among them; SceneError names those there are."""
    if seating == AS_WRITTEN and seating not in read.scene.seatings:
        return read.scene
    return read.seated(seating, (AS_WRITTEN,))
