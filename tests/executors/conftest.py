"""Three tiny cues and one that takes a second or two, and somebody who kills what renders."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

import seatwright
from seatwright.cues import Cue, render_cues
from seatwright.disk.render_lock import LOCK_NAME
from seatwright.executors.attempt import Executor
from seatwright.stage.request import Request
from seatwright.views.cue_table import CueRow

SCENE = """
[hall]
size = {{ width = 8, depth = 10, height = 5 }}
reverberation = 0.4
[seats.oboe]
stem = "{name} oboe.wav"
bearing = -20
distance = 2.2
[seats.viola]
stem = "{name} viola.wav"
bearing = 30
distance = 2.5
"""


@dataclass
class Silent:
    """Watches cues and notes what it is told."""

    told: list[tuple[str, int]] = field(default_factory=list)
    words: set[tuple[int, str]] = field(default_factory=set)

    def progress(self, number: int, what: str, share: float) -> None:
        assert 0.0 <= share <= 1.0
        self.words.add((number, what))

    def again(self, number: int, row: CueRow) -> None:
        self.told.append(("again", number))

    def ended(self, number: int, row: CueRow) -> None:
        self.told.append(("ended", number))


@dataclass
class Score:
    """A folder of scenes with their stems."""

    folder: Path

    def add(self, name: str, seconds: float, rate: int = 16_000) -> Path:
        """Write a scene with two mono stems."""
        rng = np.random.default_rng(len(name) + ord(name[-1]))
        for part in ("oboe", "viola"):
            samples = rng.uniform(-0.05, 0.05, round(seconds * rate))
            soundfile.write(self.folder / f"{name} {part}.wav", samples, rate, "PCM_24")
        scene = self.folder / f"{name}.toml"
        scene.write_text(SCENE.format(name=name), encoding="utf-8")
        return scene

    def cues(self, out: str, *names: str) -> list[Cue]:
        """Cues with absolute paths."""
        return [
            Cue(self.folder / f"{name}.toml", self.folder / out / name, Request(threads=1))
            for name in names
        ]

    def render(
        self, executor: Executor, out: str, *names: str, **options: Any
    ) -> tuple[tuple[CueRow, ...], Silent]:
        """Render cues into a folder of their own."""
        watch = Silent()
        return render_cues(self.cues(out, *names), executor, watch, **options), watch

    def files(self, place: str) -> dict[str, str]:
        """SHA-256 of all files in a folder, by their path."""
        root = self.folder / place
        return {
            path.relative_to(root).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(root.rglob("*"))
            if path.is_file()
        }

    def stems(self) -> dict[str, str]:
        """All stems and scenes."""
        return {
            path.name: hashlib.sha256(path.read_bytes()).hexdigest()
            for path in self.folder.iterdir()
            if path.is_file()
        }

    def command(self, *arguments: str, **options: Any) -> subprocess.Popen[str]:
        """The command line in a session of its own, warnings being errors."""
        return subprocess.Popen(
            [sys.executable, *WARNINGS, "-m", "seatwright", "render", *arguments],
            cwd=self.folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
            env={**os.environ, "PYTHONPATH": SOURCE},
            **options,
        )


WARNINGS = ("-W", "error", "-W", "ignore::ResourceWarning")
"""An interrupt may come between the opening of a file and whoever closes it."""

SOURCE = str(Path(seatwright.__file__).parents[1])


def rendering_in(folder: Path, seconds: float = 120.0) -> int:
    """The process that renders into a folder, as soon as it keeps blocks there."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if any(folder.glob(".seatwright-*.raw")):
            try:
                return int((folder / LOCK_NAME).read_text().split()[0])
            except (OSError, IndexError):
                pass
        time.sleep(0.005)
    raise TimeoutError(f"nobody renders into {folder}")


class Killer(threading.Thread):
    """Kills so many different processes that render into a folder."""

    def __init__(self, folder: Path, times: int):
        super().__init__(daemon=True)
        self.folder, self.times, self.killed = folder, times, list[int]()

    def run(self) -> None:
        while len(self.killed) < self.times:
            process = rendering_in(self.folder)
            if process not in (*self.killed, os.getpid()):  # we take the lock to tidy up
                os.kill(process, signal.SIGKILL)
                self.killed.append(process)


@pytest.fixture
def killer() -> Callable[[Path, int], Killer]:
    """Starts one."""

    def start(folder: Path, times: int) -> Killer:
        made = Killer(folder, times)
        made.start()
        return made

    return start


@pytest.fixture(scope="module")
def score(tmp_path_factory: pytest.TempPathFactory) -> Score:
    """Scenes a, b, c of half a second and a long one; "alone" holds renders of them all."""
    from seatwright.executors.in_turn import InTurn

    made = Score(tmp_path_factory.mktemp("score"))
    for name in ("a", "b", "c"):
        made.add(name, 0.5)
    made.add("long", 20.0, 48_000)
    rows, _ = made.render(InTurn(), "alone", "a", "b", "c", "long")
    assert all(row.state == "done" for row in rows)
    return made


@pytest.fixture
def wait_for_render() -> Callable[[Path], int]:
    """`rendering_in`."""
    return rendering_in
