"""Cues: many scenes rendered in one go, each into a folder of its own, whatever becomes of others.

All are read and checked before the first is rendered. A failure that may pass is tried once more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from seatwright.acoustics.listening import listening_of
from seatwright.disk.bounce_folder import BounceFolder
from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.output_names import folded
from seatwright.errors import Fault, SceneError, SeatwrightError
from seatwright.executors.attempt import MOST_TRIES, Attempt, Executor, Job, failed
from seatwright.render import bounce_format, default_folder, time_grid
from seatwright.stage.request import Request
from seatwright.stage.routing import buses_of, heard_seats
from seatwright.views.cue_table import CueRow


@dataclass(frozen=True)
class Cue:
    """A scene to render, and where to."""

    scene: Path
    folder: Path
    request: Request


class Watch(Protocol):
    """Is told what happens to the cues, by their numbers from 0."""

    def progress(self, number: int, what: str, share: float) -> None:
        """A cue goes on: what is being done and how much of it is done, 0 to 1."""

    def again(self, number: int, row: CueRow) -> None:
        """A cue failed and will be tried once more."""

    def ended(self, number: int, row: CueRow) -> None:
        """A cue has come to its end."""


def cues_of(scenes: Sequence[Path], out: Path | None, request: Request) -> tuple[Cue, ...]:
    """Cues with a folder each.

    Parameters
    ----------
    scenes : sequence of Path
    out : Path or None
        Holds the folders of all; where None they go where each would go alone.
    request : Request

    Returns
    -------
    tuple of Cue

    Raises
    ------
    SceneError
        If two folders are the same on some system, naming every such pair of scenes.
    """
    folders = [default_folder(scene, request) for scene in scenes]
    if out is not None:
        folders = [out / folder.name for folder in folders]
    first: dict[str, Path] = {}
    faults = []
    for scene, folder in zip(scenes, folders, strict=True):
        other = first.setdefault(folded(folder.name), scene)
        if other is not scene:
            faults.append(_clash(scene, other, folder))
    if faults:
        raise SceneError(faults)
    return tuple(Cue(scene, folder, request) for scene, folder in zip(scenes, folders, strict=True))


def _clash(scene: Path, other: Path, folder: Path) -> Fault:
    if scene == other:
        return Fault("found this scene twice, wanted each once", file=str(scene))
    return Fault(
        f"found a folder {folder} that would also be that of {other}, wanted names of scenes that "
        "differ by more than case or spelling",
        file=str(scene),
        hint="render one of them by itself, with --out",
    )


def check_cue(cue: Cue) -> None:
    """Read everything a render needs and plan it, without writing.

    Parameters
    ----------
    cue : Cue

    Raises
    ------
    SeatwrightError
        With every fault of the scene and its stems, else with what the request cannot have of it.
    """
    request = cue.request
    read, cast, head = read_and_cast(
        cue.scene, allow_outside=request.allow_outside, allow_truncated=request.allow_truncated
    )
    scene = read.seated(request.seating)
    buses = buses_of(scene, heard_seats(scene, request.only), request.stems, request.perspectives)
    grid = time_grid(scene, listening_of(scene, head), cast)
    first, last = request.excerpt(cast.frames + grid.frames - 1, cast.rate)
    form = bounce_format(request, cast, first, last)
    BounceFolder(cue.folder, buses, form, [read.path, *(stem.path for stem in cast.stems)])


def render_cues(
    cues: Sequence[Cue], executor: Executor, watch: Watch, all_or_nothing: bool = False
) -> tuple[CueRow, ...]:
    """Check all cues, then render those that have no fault.

    Parameters
    ----------
    cues : sequence of Cue
    executor : Executor
    watch : Watch
    all_or_nothing : bool
        Render none where one has a fault.

    Returns
    -------
    tuple of CueRow
        In the order of the cues.
    """
    course = _Course(cues, watch)
    for number in range(len(cues)):
        course.check(number)
    if not (all_or_nothing and any(row.faults for row in course.rows)):
        jobs = [course.job(n) for n, row in enumerate(course.rows) if not row.faults]
        executor.run(jobs, watch.progress, course.again)
    return tuple(course.rows)


@dataclass
class _Course:
    """What has become of every cue so far."""

    cues: Sequence[Cue]
    watch: Watch
    rows: list[CueRow] = field(init=False)

    def __post_init__(self) -> None:
        self.rows = [CueRow(str(cue.scene), str(cue.folder), "not begun") for cue in self.cues]

    def job(self, number: int) -> Job:
        cue = self.cues[number]
        return Job(number, str(cue.scene), str(cue.folder), cue.request)

    def check(self, number: int) -> None:
        """Note the faults of a cue that cannot be rendered."""
        self.watch.progress(number, "checking", 0.0)
        try:
            check_cue(self.cues[number])
        except (SeatwrightError, OSError, MemoryError) as error:
            end = failed(self.job(number), error)
            self._note(replace(end, tries=0))
            self.watch.ended(number, self.rows[number])

    def again(self, end: Attempt) -> bool:
        """Note how an attempt ended; True where another one is worth it."""
        self._note(end)
        row = self.rows[end.number]
        if end.passing and row.tries < MOST_TRIES:
            self.watch.again(end.number, row)
            return True
        self.watch.ended(end.number, row)
        return False

    def _note(self, end: Attempt) -> None:
        before = self.rows[end.number]
        self.rows[end.number] = replace(
            before,
            state="failed" if end.faults else "done",
            seconds=before.seconds + end.seconds,
            tries=before.tries + end.tries,
            trim_db=end.trim_db,
            warnings=end.warnings,
            faults=end.faults,
            exit_code=end.exit_code,
        )
