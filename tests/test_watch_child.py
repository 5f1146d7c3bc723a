"""The watch as a process of its own, with real saves, real time and real signals."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from queue import Queue
from threading import Thread
from typing import IO, Any

import pytest

import seatwright

SCENE = """
[seats.oboe]
stem = "oboe.wav"
x = -1
y = 2
[seats.violas]
stem = "violas.wav"
x = 1
y = 2.5
"""


class Child:
    """A running watch and the lines it prints."""

    def __init__(self, stage: Any, *options: str):
        command = [sys.executable, "-m", "seatwright", "watch", "scene.toml", "--out", "out"]
        self.process = subprocess.Popen(
            [*command, "--threads", "1", "--still", "0.4", *options],
            cwd=stage.folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": str(Path(seatwright.__file__).parents[1])},
        )
        self.said: Queue[str] = Queue()
        self.complaints: Queue[str] = Queue()
        self._readers = [
            Thread(target=put_lines, args=(stream, lines))
            for stream, lines in (
                (self.process.stdout, self.said),
                (self.process.stderr, self.complaints),
            )
        ]
        for reader in self._readers:
            reader.start()

    def end(self, number: signal.Signals) -> tuple[int, list[str]]:
        """Exit code after a signal, and all complaints that were not read yet."""
        self.process.send_signal(number)
        return self.ended()

    def ended(self) -> tuple[int, list[str]]:
        """Exit code once it has ended by itself, and all complaints not read yet."""
        code = self.process.wait(20)
        self.close()
        return code, list(self.complaints.queue)

    def close(self) -> None:
        """End it, whatever it does."""
        self.process.kill()
        self.process.wait()
        for reader in self._readers:
            reader.join()


def put_lines(stream: IO[str], lines: Queue[str]) -> None:
    with stream:
        for line in stream:
            lines.put(line.rstrip("\n"))


@pytest.fixture
def made(stage: Any) -> Any:
    stage.stem("oboe.wav", stage.noise(1, 0.3))
    stage.stem("violas.wav", stage.noise(2, 0.3))
    stage.write(SCENE)
    return stage


@pytest.fixture
def child(made: Any, request: pytest.FixtureRequest) -> Iterator[Child]:
    running = Child(made, *getattr(request, "param", ()))
    yield running
    running.close()


def line(queue: Queue[str]) -> str:
    """The next line, without its time of day."""
    text = queue.get(timeout=30)
    assert text[2] == text[5] == ":" or text.startswith(" "), text
    return text[9:]


def renamed_over(path: Path, text: str) -> None:
    new = path.with_name(".#scene")
    new.write_text(text)
    new.replace(path)


def test_saves_of_every_kind_are_rendered_until_ctrl_c(made: Any, child: Child) -> None:
    assert "watching scene.toml" in line(child.complaints)
    assert line(child.said).startswith("the whole into out: rendered in ")

    whole = made.stem("new.wav", made.noise(3, 0.3)).read_bytes()
    (made.folder / "new.wav").unlink()
    with (made.folder / "violas.wav").open("wb", buffering=0) as file:
        for first in range(0, len(whole), 4000):  # each pause longer than --still
            file.write(whole[first : first + 4000])
            time.sleep(0.5)
    assert line(child.said).startswith("violas.wav exported anew: rendered in ")

    renamed_over(made.scene, made.scene.read_text().replace("x = -1", "x = -1.5"))
    assert line(child.said).startswith("oboe moved 0.5 m, bearing ")

    good = made.scene.read_text()
    kept = made.digests()
    renamed_over(made.scene, good.replace("y = 2.5", "y = 250"))
    assert line(child.complaints) == "not rendered, 1 fault; waiting for a save that mends it"
    assert "seats.violas" in child.complaints.get(timeout=5)
    assert made.digests() == kept
    made.scene.write_text(good.replace("y = 2.5", "y = 2.7"))
    assert line(child.said).startswith("violas moved 0.2 m, bearing ")

    code, rest = child.end(signal.SIGINT)
    assert (code, rest) == (130, ["seatwright: interrupted, no output is half written"])
    assert child.said.empty()
    assert not any(name.startswith(".") for name in made.digests())


@pytest.mark.parametrize("child", [("--poll",)], indirect=True)
def test_a_watch_that_polls_ends_by_a_signal_too(made: Any, child: Child) -> None:
    line(child.said)
    made.scene.write_text(made.scene.read_text().replace("y = 2\n", "y = 2.2\n"))
    assert line(child.said).startswith("oboe moved 0.2 m, bearing ")
    assert child.end(signal.SIGTERM)[0] == 143


def test_what_cannot_be_watched_is_refused(made: Any) -> None:
    made.scene.unlink()
    code, said = Child(made).ended()
    assert code == 2
    assert "found no such file, wanted a scene" in said[0]
    assert not made.out.exists()
