"""A small stage for whole renders: a hall that rings for less than half a second."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

os.environ["SEATWRIGHT_STORE"] = ""  # nothing that a test computes is found by another
os.environ["OPENBLAS_NUM_THREADS"] = "1"  # as the command line has it

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from seatwright.disk.bounces import BounceWriter
from seatwright.disk.broadcast import Broadcast
from seatwright.disk.store import Store
from seatwright.render import render
from seatwright.stage.request import Request
from seatwright.views.report import Report

HALL = """
[hall]
size = { width = 8, depth = 10, height = 5 }
reverberation = 0.4
"""


@dataclass
class SmallStage:
    """A folder with stems and a scene, and a folder for what is rendered of them."""

    folder: Path
    rate: int = 16_000

    @property
    def scene(self) -> Path:
        return self.folder / "scene.toml"

    @property
    def out(self) -> Path:
        return self.folder / "out"

    def noise(self, seed: int, seconds: float = 1.0, channels: int = 1) -> NDArray[np.float64]:
        """A stem's worth of 24-bit noise, shape (frames, channels)."""
        rng = np.random.default_rng(seed)
        frames = round(seconds * self.rate)
        return np.asarray(np.rint(rng.uniform(-0.05, 0.05, (frames, channels)) * 2**23) / 2**23)

    def stem(
        self,
        name: str,
        samples: NDArray[Any],
        rate: int | None = None,
        subtype: str = "PCM_24",
        at: int | None = None,
    ) -> Path:
        """Write a stem; with a broadcast time reference where `at` gives one."""
        path, rate = self.folder / name, rate or self.rate
        if at is None:
            soundfile.write(path, samples, rate, subtype)
            return path
        signed = Broadcast(description=name, time_reference=at)
        shape = samples.shape
        with BounceWriter(path, rate, shape[1], subtype, shape[0], signed) as writer:
            writer.write(samples)
        return path

    def write(self, seats: str, head: str = "", hall: str = HALL) -> None:
        """Write the scene."""
        self.scene.write_text(f"{head}\n{hall}\n{seats}", encoding="utf-8")

    def render(
        self,
        out: str = "out",
        progress: Callable[[str, float], None] = lambda _what, _share: None,
        store: Store | None = None,
        **request: Any,
    ) -> Report:
        """Render the scene on one thread, unless asked otherwise."""
        asked = Request(**{"threads": 1, **request})
        return render(self.scene, self.folder / out, asked, progress, store)

    def float_render(self, out: str = "out", **request: Any) -> Report:
        """Render to floats, every sample as the engine gave it."""
        return self.render(out, depth="float", trim_db=0.0, **request)

    def heard(self, file: str = "mix.wav", out: str = "out") -> NDArray[np.float32]:
        """Samples of an output as float32, shape (frames, 2)."""
        return np.asarray(soundfile.read(self.folder / out / file, dtype="float32")[0])

    def digests(self, out: str = "out") -> dict[str, str]:
        """SHA-256 of every file in a folder of outputs, hidden ones as well."""
        root = self.folder / out
        return {
            str(path.relative_to(root)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(root.rglob("*"))
            if path.is_file()
        }


TRIO = """
[seats.oboe]
stem = "oboe.wav"
section = "winds"
bearing = -20
distance = 2.2
[seats.violas]
stem = "violas.wav"
section = "strings"
bearing = 30
distance = 2.5
[seats.organ]
stem = "organ.wav"
section = "strings"
treatment = "untouched"
[seats.choir]
stem = "choir.wav"
section = "voices"
treatment = "blended"
bearing = 5
distance = 3
[sections.winds]
perspectives = { tree = 0, close = -6, head = -9 }
"""


@pytest.fixture
def stage(tmp_path: Path) -> SmallStage:
    return SmallStage(tmp_path)


@pytest.fixture(scope="module")
def quartet(tmp_path_factory: pytest.TempPathFactory) -> SmallStage:
    """Four seats of every treatment, two seconds, rendered with all outputs as floats."""
    made = SmallStage(tmp_path_factory.mktemp("quartet"))
    for number, (name, channels) in enumerate(
        [("oboe", 1), ("violas", 2), ("organ", 2), ("choir", 2)]
    ):
        samples = made.noise(number, 2.0, channels)
        samples[8_000 : 8_000 + 6_000 * number] = 0.0
        made.stem(f"{name}.wav", samples)
    made.write(TRIO)
    made.float_render("whole", stems=True, perspectives=True)
    return made


@pytest.fixture(scope="module")
def minute(tmp_path_factory: pytest.TempPathFactory) -> SmallStage:
    """A scene of a minute of music."""
    made = SmallStage(tmp_path_factory.mktemp("minute"), 48_000)
    for number in range(6):
        made.stem(f"{number}.wav", made.noise(number, 60.0, 2))
    made.write(
        "".join(
            f'[seats.s{number}]\nstem = "{number}.wav"\nx = {number - 2.5}\ny = 2.5\n'
            for number in range(6)
        )
    )
    return made


MANIFEST: dict[str, Any] = {
    "seatwright_trial": 1,
    "title": "Horns, near and far",
    "seconds": 75.0,
    "versions": [
        {"id": "v1", "name": "as written", "sha256": "0" * 64, "twin_of": None},
        {"id": "v2", "name": "horns back", "sha256": "1" * 64, "twin_of": None},
        {"id": "v3", "name": "harp left", "sha256": "2" * 64, "twin_of": None},
        {"id": "v4", "name": "as written again", "sha256": "3" * 64, "twin_of": "v1"},
    ],
    "modes": ["ranking", "identification"],
    "identification": {"pair": ["v1", "v2"], "trials": 16},
    "minimum_seconds": 10.0,
    "seats": ["horns", "harp"],
}


def checksum(facts: dict[str, Any]) -> str:
    """SHA-256 of canonical JSON, written out here apart from the package."""
    text = json.dumps(facts, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass
class Poll:
    """A trial and its ballots."""

    manifest: dict[str, Any]

    def ballot(self, number: int, **changes: Any) -> dict[str, Any]:
        """A listener's ballot without faults, with changes, signed."""
        ids = [version["id"] for version in self.manifest["versions"]]
        facts = {
            "seatwright_ballot": 1,
            "trial": self.manifest["id"],
            "listener": f"{number:032x}",
            "playback": "headphones",
            "begun": f"2024-05-31T18:{number // 60 % 60:02d}:{number % 60:02d}Z",
            "ended": "2024-05-31T20:00:00.250Z",
            "letters": dict(zip("ABCDEFGHIJ", ids, strict=False)),
            "heard": dict.fromkeys(ids, 20.5),
            "switches": 7,
            "ranking": [[one] for one in ids],
            "identification": None,
            "comments": [],
            "levels": "matched",
            **changes,
        }
        return facts | {"checksum": checksum(facts)}

    def bytes(self, number: int, **changes: Any) -> bytes:
        """The ballot as JSON."""
        return json.dumps(self.ballot(number, **changes)).encode()


def poll_of(**changes: Any) -> Poll:
    """A trial with changes, under the identity that follows."""
    manifest = MANIFEST | changes
    return Poll({"id": checksum(manifest)[:16], **manifest})


@pytest.fixture
def poll() -> Poll:
    return poll_of()


@pytest.fixture
def new_poll() -> Callable[..., Poll]:
    return poll_of
