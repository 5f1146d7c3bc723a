"""Watch: render a scene once, and again whenever it, a stem or its head was saved.

Changes that come while a render runs are rendered together after it. It is cut short for them
where that gives the newest sound sooner.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from seatwright.disk.earlier_render import REPORT_NAME
from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.render_lock import FolderTaken
from seatwright.disk.scene_file import ReadScene, read_scene, scene_bytes
from seatwright.disk.settling import LOOK_SECONDS, Settling, State
from seatwright.disk.watching import WatchedFiles, state_of, states_of, watched_files
from seatwright.errors import Fault, RenderError, SceneError, SeatwrightError
from seatwright.render import RENDERED, default_folder
from seatwright.rendered_scene import (
    SceneState,
    changes_between,
    is_same,
    rendered_contents,
)
from seatwright.stage.request import Request
from seatwright.stage.routing import heard_seats
from seatwright.views.report import Report
from seatwright.views.watch_line import (
    fault_lines,
    render_line,
    stamped,
    warning_lines,
    warning_words,
)
from seatwright.watch_order import Surroundings, WatchOrder, begin_words, wanted_request

MOST_CANCELLED = 3
"""Renders in a row that a newer scene may cut short, so that one is heard now and then."""

_AGAIN_SECONDS = 2.0
_TELL_AFTER = 3.0
_IDLE_SECONDS = 3600.0


class NewerChange(Exception):
    """Cuts a render short whose scene or stems are no longer what it began with."""


def watch(order: WatchOrder, around: Surroundings) -> None:
    """Render a scene, then again after every change, until a signal ends the program.

    Parameters
    ----------
    order : WatchOrder
    around : Surroundings

    Raises
    ------
    SceneError
        If there is no scene to begin with. Later faults are told and waited out.
    """
    scene_bytes(order.scene)
    hint = "Ctrl-C ends it. Set a low monitoring level before you listen."
    around.complain(stamped(around.now(), f"watching {order.scene}. {hint}"))
    watching = Watching(order, around)
    watching.attempt()
    while True:
        watching.await_change()
        watching.attempt()


@dataclass
class Watching:
    """One watch: what was rendered last, what has changed since, what was said of it."""

    order: WatchOrder
    around: Surroundings
    _files: WatchedFiles = field(init=False)
    _settling: Settling = field(init=False)
    _request: Request | None = None
    _last: SceneState | None = None
    _report: Report | None = None
    _saved: dict[str, None] = field(default_factory=dict)
    _told: tuple[Fault, ...] = ()
    _running: str = ""
    _unfinished: bool = False
    _cancelled: int = 0
    _looked: float = 0.0
    _pending_since: float | None = None

    def __post_init__(self) -> None:
        self._files = WatchedFiles(self.order.scene)
        self._settling = Settling(
            lambda path: self._files.patience(path, self.order.still),
            lambda path: self._files.is_finished(path),
        )

    def await_change(self) -> None:
        """Until something was changed and has come to rest."""
        self._pending_since = None
        while True:
            self.around.notices.follow(self._settling.paths)
            self._tell_doubt()
            self._look()
            if self._settling.changed or self._unfinished:
                if self._settling.at_rest(self.around.clock()):
                    return
                self._tell_waits()
            self.around.notices.wait(LOOK_SECONDS if self._settling.changed else _IDLE_SECONDS)

    def attempt(self) -> None:
        """Render what stands there now, or say why not."""
        changed = self._settling.changed
        self._saved |= dict.fromkeys(path.name for path in changed if path in self._files.inputs)
        taken = states_of((*self._files.inputs, *self._files.folders))
        self._unfinished = False
        earlier = self._files
        try:
            read = self._read()
            self._files = watched_files(read)
            everything = (*self._files.inputs, *self._files.folders)
            taken = {path: taken[path] if path in taken else state_of(path) for path in everything}
            self._follow_inputs(taken)
            self._render(read, taken)
        except NewerChange:
            self._unfinished = True
        except FolderTaken as error:
            self._try_again(error)
        except (SeatwrightError, OSError) as error:
            self._files = self._files.also(earlier)
            taken = states_of((*self._files.inputs, *self._files.folders)) | taken
            self._refused(_faults_of(error), taken, changed)
        except Exception:  # libraries know many names for a file that is written over
            if not self._is_old():
                raise
        else:
            self._told = ()

    def _follow_inputs(self, taken: Mapping[Path, State]) -> None:
        """From now on compare with these states; new stems that are half written are waited for.

        Raises
        ------
        NewerChange
            Where there are such stems.
        """
        known = self._settling.paths
        new = [path for path in self._files.stems if known and path not in known]
        growing = dict.fromkeys((path for path in new if not self._files.is_finished(path)), ())
        self._settling.take({path: taken[path] for path in self._files.inputs} | growing)
        if growing:
            raise NewerChange

    def _is_old(self) -> bool:
        """Whether files were changed since they were taken, which makes all that was read old."""
        self._look()
        self._unfinished = bool(self._settling.changed)
        return self._unfinished

    def _read(self) -> ReadScene:
        """The scene, or every fault of it and of what it names."""
        request = self.order.request
        try:
            return read_scene(self.order.scene, allow_outside=request.allow_outside)
        except SceneError:
            return read_and_cast(
                self.order.scene,
                allow_outside=request.allow_outside,
                allow_truncated=request.allow_truncated,
            )[0]

    def _render(self, read: ReadScene, states: Mapping[Path, State]) -> None:
        scene = read.seated(self.order.request.seating)
        heard = heard_seats(scene, self.order.request.only)
        now = SceneState(scene, heard, states)
        self._running, before = read.content_hash, self._last
        self._request = request = self._request or wanted_request(self.order, heard)
        folder = self.order.folder or default_folder(self.order.scene, request)
        if before and is_same(before, now, self._files) and state_of(folder / REPORT_NAME):
            self._last, self._cancelled = replace(now, contents=before.contents), 0
            self._tell(f"{self._names_saved()}: nothing changed, not rendered again")
            return
        began = self.around.clock()
        report = self._rendered(folder, request)
        seconds = self.around.clock() - began
        now = replace(now, contents=rendered_contents(self._files, report))
        changes = changes_between(before, now) if before else (begin_words(folder, request),)
        self._tell_render(changes or (f"{self._names_saved()} saved",), report, seconds)
        self._last, self._report, self._cancelled = now, report, 0
        self._saved.clear()

    def _rendered(self, folder: Path, request: Request) -> Report:
        """Render at the trim of the render before, so that levels compare; anew where it clips."""
        if self._report is not None and request.trim_db is None:
            try:
                held = replace(request, trim_db=self._report.trim_db)
                return self._run(folder, held)
            except RenderError:
                pass
        return self._run(folder, request)

    def _run(self, folder: Path, request: Request) -> Report:
        with self.around.bar() as progress:

            def watched(what: str, share: float) -> None:
                progress(what, share)
                if share < RENDERED and self._is_overtaken():
                    raise NewerChange

            return self.around.render(self.order.scene, folder, request, watched)

    def _is_overtaken(self) -> bool:
        """Whether a running render is no longer worth its end.

        A stem that changes while it is read makes the render fail; a newer scene is heard sooner
        without the rest of this one.
        """
        now = self.around.clock()
        if now < self._looked + LOOK_SECONDS:
            return False
        self._look()
        changed = self._settling.changed
        if any(path != self.order.scene for path in changed):
            return True
        if not changed or not self._settling.at_rest(now) or self._cancelled >= MOST_CANCELLED:
            return False
        try:
            newer = read_scene(self.order.scene, allow_outside=self.order.request.allow_outside)
        except SceneError:
            return False
        if newer.content_hash == self._running:
            return False
        self._cancelled += 1
        return True

    def _look(self) -> None:
        self._looked = self.around.clock()
        self._settling.look(self._looked, states_of(self._settling.paths))

    def _refused(
        self, faults: tuple[Fault, ...], taken: Mapping[Path, State], changed: tuple[Path, ...]
    ) -> None:
        """Tell faults, unless a file was changed meanwhile, which makes them old."""
        self._settling.take({path: taken[path] for path in self._files.inputs})
        if self._is_old():
            return
        self._settling.take(taken)
        only_folders = changed and not any(path in self._files.inputs for path in changed)
        if not (only_folders and faults == self._told):
            until = "waiting for a save that mends it"
            if not state_of(self.order.scene):
                until = f"waiting until {self.order.scene.name} is back"
            for line in fault_lines(self.around.now(), faults, until):
                self.around.complain(line)
        self._told = faults

    def _try_again(self, error: FolderTaken) -> None:
        if error.faults != self._told:
            until = "tried again until it has ended"
            for line in fault_lines(self.around.now(), error.faults, until):
                self.around.complain(line)
        self._told, self._unfinished = error.faults, True
        self.around.notices.wait(_AGAIN_SECONDS)

    def _tell_render(self, changes: tuple[str, ...], report: Report, seconds: float) -> None:
        before = self._report
        held = before is None or before.trim_db == report.trim_db
        known = before.warnings if before else None
        self.around.say(
            render_line(
                self.around.now(),
                changes,
                seconds,
                report.outputs[0].integrated_lufs,
                None if held else report.trim_db,
                warning_words(report.warnings, known),
            )
        )
        for line in warning_lines(report.warnings, known):
            self.around.say(line)

    def _tell(self, text: str) -> None:
        self.around.say(stamped(self.around.now(), text))
        self._saved.clear()

    def _tell_waits(self) -> None:
        """Once for every change: which files keep a render from being made."""
        now = self.around.clock()
        if self._pending_since is None:
            self._pending_since = now
        if now < self._pending_since + _TELL_AFTER:
            return
        waiting = [path for path in self._settling.waits_for(now) if path in self._files.inputs]
        names = ", ".join(path.name for path in waiting[:4])
        if names:
            self.around.complain(stamped(self.around.now(), f"{names}: waiting until it is whole"))
            self._pending_since = float("inf")

    def _tell_doubt(self) -> None:
        if doubt := self.around.notices.doubt:
            self.around.notices.doubt = ""
            text = f"the system sends no notices of files ({doubt}): looking twice a second"
            self.around.complain(stamped(self.around.now(), text))

    def _names_saved(self) -> str:
        return ", ".join(list(self._saved)[:4]) or self.order.scene.name


def _faults_of(error: SeatwrightError | OSError) -> tuple[Fault, ...]:
    if isinstance(error, SeatwrightError):
        return error.faults
    return (Fault(error.strerror or str(error), file=str(error.filename or "")),)
