"""Rehearsal: one scene's chairs moved by hand, the loop that is heard of it, undo, and saving.

The state is the scene as it would be written, and the seating that is looked at; each change makes
another scene. What is heard follows from it (`loop_sound`), what is saved is what differs from the
file (`disk.scene_edits`).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from threading import RLock

from seatwright.acoustics.head import HeadModel
from seatwright.acoustics.impulse_response import Grid
from seatwright.acoustics.listening import Listening, listening_of, seat_plan
from seatwright.acoustics.seat_figures import SeatFigures, seat_figures
from seatwright.acoustics.seat_response import seat_response
from seatwright.disk.casting import Cast
from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.loop_stems import densest_begin
from seatwright.disk.scene_edits import write_edits
from seatwright.disk.scene_file import ReadScene, read_scene
from seatwright.errors import Fault, SceneError
from seatwright.loop_sound import LoopSound
from seatwright.render import time_grid
from seatwright.seat_loops import seat_grid, wanted_seats
from seatwright.sound.loops import loop_frames
from seatwright.stage.moves import as_seating, balanced, leaf_changes, move_faults, moved, turned
from seatwright.stage.request import Request
from seatwright.stage.scene import Scene
from seatwright.stage.steps import Step, Steps

LOOP_SECONDS = 15.0
LONGEST_LOOP = 60.0
"""Seconds: every seat's loop is held in memory."""

_SHORTEST_LOOP = 1.0
_COARSE_RATE = 12_000
"""Samples per second that single figures need (500 Hz-1 kHz), for a chair that is in the hand."""


class Rehearsal:
    """A scene with its loop while it is worked on; its methods may be called by many threads.

    Parameters
    ----------
    path : Path
        Scene file.
    request : Request
        Its seating, excerpt, `allow_outside` and `allow_truncated`.

    Raises
    ------
    SeatwrightError
        SceneError or StemError with every fault.
    """

    def __init__(self, path: Path, request: Request):
        self._path, self._request = path, request
        read, cast, head = read_and_cast(
            path, allow_outside=request.allow_outside, allow_truncated=request.allow_truncated
        )
        seated = read.seated(request.seating)
        self.read: ReadScene = read
        self.cast: Cast = cast
        self.head: HeadModel = head
        self.listening: Listening = listening_of(seated, head)
        self.grid: Grid = time_grid(seated, self.listening, cast)
        self.first, frames = excerpt_of(request, cast)
        self.loop = LoopSound(cast, self.listening, self.grid, frames)
        self.stage = ("", 0.0)
        self._lock = RLock()
        self.steps = Steps(Step(read.scene, request.seating))
        self._seating = request.seating
        self._hear(together=True)

    def prepare(self) -> None:
        """Choose the loop where none was asked for, then begin to render it."""
        if self.first is None:
            heard = self.scene.sounding()
            self.first = densest_begin(self.cast, heard, self.loop.frames, self._looking)
        self.stage = ("", 0.0)
        self.loop.start(self.first)

    def _looking(self, share: float) -> None:
        self.stage = ("listening for where most seats sound", share)
        self.loop.tell()

    def close(self) -> None:
        """End its threads."""
        self.loop.close()

    @property
    def written(self) -> Scene:
        """The scene as it would be written."""
        return self.steps.here.scene

    @property
    def seating(self) -> str | None:
        """The alternative that is looked at and changed."""
        return self._seating

    @property
    def scene(self) -> Scene:
        """The scene as it is heard."""
        return self.written.seated(self._seating)

    @property
    def unsaved(self) -> bool:
        return bool(leaf_changes(self.read.scene, self.written))

    def move(
        self,
        seat: str,
        place: tuple[float, float] | None,
        facing: float | None,
        joined: bool = False,
    ) -> None:
        """Move a chair, turn it, or both.

        Parameters
        ----------
        seat : str
        place : tuple of float, optional
            x and y in metres.
        facing : float, optional
            Degrees.
        joined : bool
            One step of undo with the change before, if that was of this chair too.

        Raises
        ------
        SceneError
            With why the chair cannot be there; nothing has changed then.
        """
        with self._lock:
            scene = self._with_move(seat, place, facing)
            what = f"{seat} moved" if place is not None else f"{seat} turned"
            self.steps.add(Step(scene, self._seating, what, f"seat {seat}"), joined)
            self._hear(first=seat)

    def tried(
        self, seat: str, place: tuple[float, float] | None, facing: float | None
    ) -> SeatFigures:
        """Figures a chair would have, quickly and without changing anything; else as `move`."""
        with self._lock:
            scene = self._with_move(seat, place, facing).seated(self._seating)
        listening = self._listening(scene)
        plan = seat_plan(scene, seat, self.cast.channels(seat))
        rate = min(self.grid.rate, _COARSE_RATE)
        grid = Grid(rate, max(1, self.grid.frames * rate // self.grid.rate), self.grid.origin)
        grid, _ = seat_grid(listening, plan, grid)
        response = seat_response(listening, plan, grid, kept=self.loop.tails)
        return seat_figures(listening, plan, response)

    def _with_move(
        self, seat: str, place: tuple[float, float] | None, facing: float | None
    ) -> Scene:
        scene = self.written
        if place is not None:
            scene = moved(scene, self._seating, seat, *place)
        if facing is not None:
            scene = turned(scene, self._seating, seat, facing)
        if faults := move_faults(scene, self._seating, (seat,)):
            raise SceneError(faults)
        return scene

    def balance(self, section: str, levels: Mapping[str, float], joined: bool = False) -> None:
        """Give a section another microphone balance; SceneError where it is none."""
        with self._lock:
            scene = balanced(self.written, section, levels)
            if faults := move_faults(scene, None, tuple(scene.seats)):
                raise SceneError(faults)
            what = f"balance of {section} changed"
            self.steps.add(Step(scene, self._seating, what, f"section {section}"), joined)
            self._hear()

    def choose(self, seating: str | None) -> None:
        """Look at another seating, heard at one instant once it is rendered."""
        with self._lock:
            if seating is not None and seating not in self.written.seatings:
                raise SceneError(Fault(f'found no seating "{seating}", wanted one of the scene'))
            self._seating = seating
            self._hear(together=True)

    def undo(self) -> Step | None:
        """Take the last change back; gives the step it was, None where there is none."""
        with self._lock:
            return self._went(self.steps.back())

    def redo(self) -> Step | None:
        """Make the change again that was taken back; else as `undo`."""
        with self._lock:
            return self._went(self.steps.forth())

    def _went(self, step: Step | None) -> Step | None:
        """Hear what holds by now, in the seating in which the change was made."""
        if step is not None:
            known = step.seating is None or step.seating in self.written.seatings
            self._seating = step.seating if known else None
            self._hear(together=True)
        return step

    def save(self) -> None:
        """Write what differs into the scene file.

        Raises
        ------
        ChangedMeanwhile
            If the file is no longer the one that was read.
        SceneError, DiskError
            Nothing is lost: all is as before.
        """
        with self._lock:
            write_edits(self._path, self.read.content_hash, self.read.scene, self.written)
            self._read_again()
            self.loop.tell()

    def save_as(self, name: str) -> None:
        """Write what is heard as a new seating, and look at that from now on.

        The seating that was looked at is again as in the file.

        Raises
        ------
        ChangedMeanwhile, SceneError, DiskError
            As `save`.
        """
        with self._lock:
            self._write_seatings(self.read, {name: self._seating})
            left = self._without_edits_here()
            self._read_again()
            self._seating = name
            self.steps.add(Step(left, name, f'saved as "{name}"'))
            self.steps.all_changed(self._with_written_seating)  # undo does not take it out
            self._hear(together=True)

    def save_beside(self, name: str) -> None:
        """Write what was moved as new seatings into the file as others have changed it by now.

        All that is in the file stays. What was moved in other seatings than the one looked at is
        written too, under this name and theirs. The session is over afterwards: it is still
        about the old file.

        Raises
        ------
        ChangedMeanwhile, SceneError, DiskError
            As `save`.
        """
        with self._lock:
            paths = leaf_changes(self.read.scene, self.written)
            moved_in = {path[1] if path[0] == "seatings" else None for path in paths}
            others = [one for one in (None, *self.written.seatings) if one in moved_in]
            named = {f"{name} ({one or 'written'})": one for one in others if one != self._seating}
            self._write_seatings(self._read_now(), {name: self._seating, **named})

    def _write_seatings(self, base: ReadScene, names: dict[str, str | None]) -> None:
        """Write seatings under new names behind all there is in a file."""
        seatings = dict(base.scene.seatings)
        for name, seating in names.items():
            if name in seatings or name in self.written.seatings:
                what = f'found a seating "{name}" already, wanted a new name'
                raise SceneError(Fault(what, file=str(self._path)))
            changes = as_seating(self.read.scene, self.written.seated(seating))
            if lost := sorted(changes.keys() - base.scene.seats.keys()):
                what = f"found no seat {', '.join(lost)} in the file any more, wanted all moved"
                raise SceneError(Fault(what, file=str(self._path)))
            if changes:
                seatings[name] = changes
        if not any(name in seatings for name in names):
            what = "found nothing that differs from the scene as written, wanted a move to save"
            raise SceneError(Fault(what, file=str(self._path)))
        wanted = base.scene.model_copy(update={"seatings": seatings})
        write_edits(self._path, base.content_hash, base.scene, wanted)

    def _with_written_seating(self, scene: Scene) -> Scene:
        """A scene that knows the seating just written."""
        new = self.read.scene.seatings[str(self._seating)]
        seatings = {**scene.seatings, str(self._seating): new}
        return scene.model_copy(update={"seatings": seatings})

    def _without_edits_here(self) -> Scene:
        """The scene with what was changed in this seating as it stands in the file."""
        old, scene = self.read.scene, self.written
        if self._seating is None:
            return scene.model_copy(update={"seats": old.seats, "sections": old.sections})
        seatings = {**scene.seatings, self._seating: old.seatings[self._seating]}
        return scene.model_copy(update={"seatings": seatings, "sections": old.sections})

    def _read_now(self) -> ReadScene:
        return read_scene(self._path, allow_outside=self._request.allow_outside)

    def _read_again(self) -> None:
        self.read = self._read_now()

    def _hear(self, first: str = "", together: bool = False) -> None:
        scene = self.scene
        wanted = wanted_seats(scene, self._listening(scene), self.cast)
        if first in wanted:
            wanted = {first: wanted[first], **wanted}
        self.loop.want(wanted, together)

    def _listening(self, scene: Scene) -> Listening:
        """Only spill depends on where seats are."""
        if scene.microphones.close.spill is None:
            return self.listening
        return listening_of(scene, self.head)


def excerpt_of(request: Request, cast: Cast) -> tuple[int | None, int]:
    """Where the loop begins, None where it is to be looked for, and how long it is.

    Parameters
    ----------
    request : Request
        With one end alone the loop has its usual length from or up to there.
    cast : Cast

    Returns
    -------
    first : int or None
    frames : int
        In samples; a little longer than asked for, where that is computed more quickly.

    Raises
    ------
    SceneError
        If the excerpt is outside of the music, or too short or long for a loop.
    """
    start, stop, length = request.start, request.stop, cast.frames / cast.rate
    if start is None and stop is None:
        return (None, loop_frames(round(min(length, LOOP_SECONDS) * cast.rate)))
    if start is None:
        start = max(0.0, min(stop or 0.0, length) - LOOP_SECONDS)
    if stop is None:
        stop = start + LOOP_SECONDS
    first, last = Request(start=start, stop=stop).excerpt(cast.frames, cast.rate)
    seconds = (last - first) / cast.rate
    if not _SHORTEST_LOOP <= seconds <= LONGEST_LOOP:
        what = f"found a loop of {seconds:.2f} s, wanted {_SHORTEST_LOOP:g} to {LONGEST_LOOP:g} s"
        raise SceneError(Fault(what))
    return first, loop_frames(last - first)
