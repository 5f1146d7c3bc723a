"""A disk that refuses one call, whichever is asked for, and a small render that is quick to repeat.

Counted are the calls that touch files of one folder, by path or by a descriptor opened there:
everything the package uses of `os`, and files opened through `io`.
"""

from __future__ import annotations

import builtins
import functools
import io
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

BY_PATH = (
    "open", "stat", "lstat", "link", "replace", "rename", "unlink", "rmdir", "mkdir", "listdir",
    "scandir",
)  # fmt: skip
BY_DESCRIPTOR = (
    "write", "pwrite", "read", "pread", "preadv", "lseek", "fsync", "ftruncate", "fstat", "close",
)  # fmt: skip
OF_FILES = ("read", "readinto", "write", "flush", "close", "seek", "tell")


@dataclass
class RefusingDisk:
    """Counts calls and refuses one of them.

    Parameters
    ----------
    folder : Path
        Calls that touch something else are not counted; beside it stands what has no full path.
    refuse : int
        Number of the call that is refused, from 0; -1 for none.
    error : int
        Number of the system's error.
    """

    folder: Path
    refuse: int = -1
    error: int = 5
    calls: list[str] = field(default_factory=list)
    _descriptors: set[int] = field(default_factory=set)

    def install(self, patch: pytest.MonkeyPatch) -> None:
        """Stand between the package and the disk."""
        for name in BY_PATH:
            patch.setattr(os, name, self._by_path(name, getattr(os, name)))
        for name in BY_DESCRIPTOR:
            if hasattr(os, name):
                patch.setattr(os, name, self._by_descriptor(name, getattr(os, name)))
        patch.setattr(io, "open", self._opened(io.open))
        patch.setattr(builtins, "open", self._opened(builtins.open))

    def count(self, name: str, path: object = "") -> bool:
        """Take note of a call; whether it is the one to refuse."""
        self.calls.append(f"{name} {Path(str(path)).suffix or Path(str(path)).name}".strip())
        return len(self.calls) - 1 == self.refuse

    def refused(self) -> OSError:
        return OSError(self.error, os.strerror(self.error))

    def _inside(self, path: object) -> bool:
        if not isinstance(path, str | Path):
            return False
        place = Path(self.folder.parent, path)
        return place == self.folder or self.folder in place.parents

    def _by_path(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(real)
        def call(path: Any = ".", *arguments: Any, **options: Any) -> Any:
            inside = self._inside(path)
            if inside and self.count(name, path):
                raise self.refused()
            found = real(path, *arguments, **options)
            if inside and name == "open":
                self._descriptors.add(found)
            return found

        return call

    def _by_descriptor(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(real)
        def call(handle: Any, *arguments: Any, **options: Any) -> Any:
            if handle not in self._descriptors:
                return real(handle, *arguments, **options)
            refuse = self.count(name)
            if name == "close":  # a descriptor is gone even if closing it fails
                self._descriptors.discard(handle)
                real(handle)
            if refuse:
                raise self.refused()
            return None if name == "close" else real(handle, *arguments, **options)

        return call

    def _opened(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(path: Any, *arguments: Any, **options: Any) -> Any:
            if not self._inside(path):
                return real(path, *arguments, **options)
            if self.count("io.open", path):
                raise self.refused()
            return RefusingFile(self, real(path, *arguments, **options))

        return call


class RefusingFile:
    """A file of Python's own whose calls are counted."""

    def __init__(self, disk: RefusingDisk, file: Any):
        self._disk, self._file = disk, file
        disk._descriptors.add(file.fileno())
        for name in OF_FILES:
            if hasattr(file, name):
                setattr(self, name, self._counted(name, getattr(file, name)))

    def _counted(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any) -> Any:
            refuse = self._disk.count(f"file.{name}")
            if name == "close":
                self._disk._descriptors.discard(self._file.fileno())
                real()
            if refuse:
                raise self._disk.refused()
            return None if name == "close" else real(*arguments)

        return call

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)

    def __enter__(self) -> Any:
        return self

    def __exit__(self, *_: object) -> None:
        if not self._file.closed:
            self.close()

    def __iter__(self) -> Any:
        return iter(self._file)


HALL = """
[hall]
size = { width = 8, depth = 10, height = 5 }
reverberation = 0.3
"""


KEPT: dict[tuple[str, str], Any] = {}


def remembered(function: Callable[..., Any]) -> Callable[..., Any]:
    """A pure function whose results are kept by the text of its arguments, for all tests here."""

    def call(*arguments: Any) -> Any:
        key = (function.__name__, repr(arguments))
        if key not in KEPT:
            KEPT[key] = function(*arguments)
        return KEPT[key]

    return call


@pytest.fixture
def quick(stage: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Three seats, a tenth of a second; responses are computed once for all renders."""
    import seatwright.pages
    import seatwright.report_facts
    import seatwright.seat_responses

    for module, name in (
        (seatwright.seat_responses, "seat_response"),
        (seatwright.seat_responses, "seat_figures"),
        (seatwright.report_facts, "hall_figures"),
        (seatwright.pages, "heard_decays"),
    ):
        monkeypatch.setattr(module, name, remembered(getattr(module, name)))
    stage.rate = 8_000
    seats = ""
    for number, name in enumerate(("oboe", "flute", "harp")):
        stage.stem(f"{name}.wav", stage.noise(number, 0.1))
        seats += f'[seats.{name}]\nstem = "{name}.wav"\nx = {number - 1}\ny = 2\n'
    stage.write(seats, hall=HALL)
    monkeypatch.chdir(stage.folder)
    return stage


@pytest.fixture
def refusing() -> Callable[..., tuple[Any, list[str]]]:
    """Does something on a disk that refuses one call; gives its result and all calls."""

    def do(
        folder: Path, work: Callable[[], Any], refuse: int = -1, error: int = 5
    ) -> tuple[Any, list[str]]:
        disk = RefusingDisk(folder, refuse, error)
        with pytest.MonkeyPatch.context() as patch:
            disk.install(patch)
            found = work()
        return found, disk.calls

    return do
