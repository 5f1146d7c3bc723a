"""The folder a render leaves behind: mix, bounces and report, complete or as they were before."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Generator, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Lock
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.bounces import BounceWriter, clashes, output_name
from seatwright.disk.broadcast import REMAINDER_BYTES, Broadcast
from seatwright.disk.earlier_render import REPORT_NAME, Superseded, superseded
from seatwright.disk.exchange import Exchange, undo
from seatwright.disk.leftovers import remove_leftovers
from seatwright.disk.made_folders import MadeFolders
from seatwright.disk.render_lock import RenderLock
from seatwright.disk.whole_file import WaitingFile
from seatwright.errors import DiskError, Fault, SceneError
from seatwright.stage.routing import Bus

Progress = Callable[[float], None]
Parts = Generator[NDArray[np.float32], None, None]


@dataclass(frozen=True)
class BounceFormat:
    """What kind of files the bounces are.

    Parameters
    ----------
    kind : str
        "wav" or "flac".
    encoding : str
        "PCM_16", "PCM_24" or "FLOAT".
    rate : int
        Samples per second.
    frames : int
        Length of every output.
    broadcast : Broadcast or None
        Carried over from the stems, its time reference that of the first frame.
    """

    kind: str
    encoding: str
    rate: int
    frames: int
    broadcast: Broadcast | None = None


@dataclass(frozen=True)
class Bounce:
    """A finished output.

    Parameters
    ----------
    file : str
        Path within the folder.
    kind : str
        "mix", "sections", "stems" or "perspectives".
    name : str
    sha256 : str
        Of the file, hexadecimal.
    """

    file: str
    kind: str
    name: str
    sha256: str


class BounceFolder:
    """Writes the mix, all bounces and the report, alone in its folder as long as it is entered.

    What renders that were cut off left there is undone and removed at the begin, the outputs of
    the render before, as far as they are not replaced, go at the end.

    Parameters
    ----------
    folder : Path
        Made where missing.
    buses : sequence of Bus
        The outputs beside the mix.
    form : BounceFormat
    inputs : iterable of Path
        The stems and the scene, which no output may overwrite.

    Raises
    ------
    SceneError
        If two outputs would have one name, or an output would overwrite an input.
    DiskError
        If the folder cannot be made or written, another render is at work in it, or the file
        system cannot write an output's name.
    """

    def __init__(
        self, folder: Path, buses: Sequence[Bus], form: BounceFormat, inputs: Iterable[Path]
    ):
        self.folder = folder
        self._form = form
        self._outputs = [Bus("mix", "mix"), *buses]
        self._files = [_file_of(bus, form.kind) for bus in self._outputs]
        self._inputs = list(inputs)
        self._refuse_clashes()
        self._refuse_names()
        self._refuse_inputs()
        self._writers: list[BounceWriter] = []
        self._reports: list[WaitingFile] = []
        self._made = MadeFolders()
        self._lock = RenderLock(folder)
        self._superseded = Superseded()

    def __enter__(self) -> Self:
        try:
            self._made.make(self.folder)
            self._lock.take()
            if self._lock.held:
                undo(self.folder)
                remove_leftovers(self.folder)
            for file in self._files:
                self._made.make((self.folder / file).parent)
        except BaseException:
            self._leave()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._leave()

    def _leave(self) -> None:
        for waiting in self._waiting():
            waiting.abort()
        if self._lock.held:  # an interrupt may have come before a temporary had its owner
            with suppress(DiskError):  # told already
                undo(self.folder)
            remove_leftovers(self.folder)
        self._lock.release()
        self._made.remove_empty()

    @property
    def files(self) -> tuple[str, ...]:
        """Paths of all outputs within the folder, in their order."""
        return tuple(self._files)

    def write(
        self,
        read: Callable[[int], Parts],
        trim_db: float,
        progress: Progress,
        threads: int = 1,
        standing: Mapping[str, str] | None = None,
    ) -> list[Bounce]:
        """Write all outputs at one trim, under temporary names.

        Parameters
        ----------
        read : callable
            From an output's number, the mix first, to its blocks of shape (2, frames).
        trim_db : float
            0 leaves every sample as it is.
        progress : callable
        threads : int
            Outputs written at the same time; does not change them.
        standing : mapping of str to str
            Files that stand in the folder as they would be written, and their SHA-256.

        Returns
        -------
        list of Bounce
            In the order of the outputs.
        """
        form = self._form
        hashes = dict(standing or {})
        numbers = [n for n, file in enumerate(self._files) if file not in hashes]
        for number in numbers:
            path = self.folder / self._files[number]
            self._writers.append(
                BounceWriter(path, form.rate, 2, form.encoding, form.frames, form.broadcast, number)
            )
        gain = 1.0 if trim_db == 0.0 else 10.0 ** (trim_db / 20.0)
        done = _Done(len(numbers) * form.frames, progress)
        with ThreadPoolExecutor(threads) as pool:
            writing = [
                pool.submit(_write_output, writer, read(number), np.float32(gain), done)
                for number, writer in zip(numbers, self._writers, strict=True)
            ]
            try:
                for written in writing:
                    written.result()
            except BaseException:
                pool.shutdown(wait=False, cancel_futures=True)  # what has not begun need not
                raise
        for number, writer in zip(numbers, self._writers, strict=True):
            hashes[self._files[number]] = writer.sha256
        return [
            Bounce(file, bus.kind, bus.name, hashes[file])
            for file, bus in zip(self._files, self._outputs, strict=True)
        ]

    def superseded(self) -> Superseded:
        """What stands where outputs stand and is not of this render; `commit` removes its own."""
        self._superseded = superseded(self.folder, self._files, self._inputs)
        return self._superseded

    def commit(self, reports: dict[str, str]) -> None:
        """Give outputs and reports their names, remove what `superseded` found: all or nothing.

        Parameters
        ----------
        reports : dict of str to str
            File name and text; the last one tells that all the others are there.

        Raises
        ------
        DiskError
            If the disk refuses; the render before is then as it was.
        """
        for name, text in reports.items():
            self._reports.append(WaitingFile(self.folder / name, text.encode()))
        written = [writer.path.relative_to(self.folder).as_posix() for writer in self._writers]
        with Exchange(self.folder, [*written, *reports], self._superseded.ours):
            for waiting in self._waiting():
                waiting.commit()

    def _waiting(self) -> list[BounceWriter | WaitingFile]:
        """Files that have no name yet, in the order in which they get theirs."""
        return [*self._writers, *self._reports]

    def _refuse_clashes(self) -> None:
        pairs = [
            (kind, pair)
            for kind in ("sections", "stems", "perspectives")
            for pair in _alike([bus.name for bus in self._outputs if bus.kind == kind])
        ]
        if pairs:
            raise SceneError(
                Fault(
                    f'found "{first}" and "{second}", whose bounces would have one file name, '
                    "wanted names that differ by more than case or spelling",
                    key=kind,
                )
                for kind, (first, second) in pairs
            )

    def _refuse_names(self) -> None:
        """Where the file system's encoding lacks a letter, every use of the name would fail."""
        faults = []
        for file in self._files:
            path = str(self.folder / file)
            try:
                os.fsencode(path)
            except UnicodeEncodeError:
                what = (
                    "this name cannot be written in the file system's encoding "
                    f"{sys.getfilesystemencoding()}, wanted one that has all its letters"
                )
                faults.append(Fault(what, file=path, hint="set a UTF-8 locale, or PYTHONUTF8=1"))
        if faults:
            raise DiskError(faults)

    def _refuse_inputs(self) -> None:
        known = {}
        for path in self._inputs:
            with suppress(OSError):
                status = path.stat()
                known[(status.st_dev, status.st_ino)] = path
        faults = []
        for file in [*self._files, REPORT_NAME, "report.html", "report.txt"]:
            target = self.folder / file
            with suppress(OSError):
                status = target.stat()
                if source := known.get((status.st_dev, status.st_ino)):
                    faults.append(
                        Fault(
                            f"this output would overwrite the input {source}",
                            file=str(target),
                            hint="choose another folder with --out",
                        )
                    )
        if faults:
            raise SceneError(faults)


class _Done:
    """Counts frames of all outputs, from several threads."""

    def __init__(self, frames: int, progress: Progress):
        self._lock = Lock()
        self._frames, self._done, self._progress = frames, 0, progress

    def add(self, frames: int) -> None:
        with self._lock:
            self._done += frames
            self._progress(self._done / self._frames)


def _write_output(
    writer: BounceWriter,
    parts: Generator[NDArray[np.float32], None, None],
    gain: np.float32,
    done: _Done,
) -> None:
    with closing(parts):
        for part in parts:
            writer.write(part.T if gain == 1.0 else part.T * gain)
            done.add(part.shape[1])
    writer.close()


def moved_broadcast(broadcast: Broadcast | None, time_reference: int) -> Broadcast | None:
    """A stem's broadcast extension for an output whose first sample stands elsewhere.

    The identifier and the loudness in it are those of the stem's audio and are left out; version
    1 is the last one without loudness.
    """
    if broadcast is None:
        return None
    return replace(
        broadcast,
        time_reference=time_reference,
        version=min(broadcast.version, 1),
        remainder=bytes(REMAINDER_BYTES),
    )


def _alike(names: list[str]) -> list[tuple[str, str]]:
    """Pairs of names whose files some system would hold for the same."""
    of_file: dict[str, list[str]] = {}
    for name in names:
        of_file.setdefault(output_name(name), []).append(name)
    same = [(group[0], name) for group in of_file.values() for name in group[1:]]
    return same + [(of_file[one][0], of_file[other][0]) for one, other in clashes(of_file)]


def _file_of(bus: Bus, kind: str) -> str:
    return f"mix.{kind}" if bus.kind == "mix" else f"{bus.kind}/{output_name(bus.name)}.{kind}"
