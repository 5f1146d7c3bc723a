"""A report.json that lies, read back as the next render reads it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from math import isfinite
from pathlib import Path
from random import Random

from fuzz.ballot_cases import changed, written
from fuzz.chance import damaged
from seatwright.disk.earlier_render import superseded, whole_render
from seatwright.disk.exchange import Exchange
from seatwright.errors import Fault

_TEXTS = (b"NaN", b"Infinity", b"-Infinity", b"1e999", b"1" * 400, b"1" * 5000, b"[" * 100_000,
          b'{"a":' * 3000, b"\xff", b"\\ud800", b"null", b"-1e999", b"{}", b"[]")  # fmt: skip
_FILES = ("../outside.wav", "/etc/passwd", "stems/a.wav", "mix.wav", "\0", "a" * 5000, ".", "")


class ReportTarget:
    """Bytes of report.json in a folder of outputs; a file beside the folder has to survive."""

    name = "report"

    def __init__(self, scratch: Path):
        self.folder, self.outside = scratch / "out", scratch / "outside.wav"
        self.stem = scratch / "stem.wav"
        (self.folder / "stems").mkdir(parents=True)
        for path in (self.outside, self.stem, self.folder / "mix.wav", self.folder / "scene.toml"):
            path.write_bytes(path.name.encode())
        self.mix = hashlib.sha256(b"mix.wav").hexdigest()

    def make(self, chance: Random) -> bytes:
        """A report with changes, damaged now and then."""
        facts = {
            "report_format": 1,
            "scene": "scene.toml",
            "scene_sha256": "0" * 64,
            "part": "",
            "seating": "",
            "trim_db": -3.0,
            "outputs": [{"file": "mix.wav", "sha256": self.mix},
                        {"file": chance.choice(_FILES), "sha256": _digest("stem.wav")}],
            "removed": [{"file": chance.choice(_FILES), "sha256": _digest("outside.wav")}],
            "stems": [{"file": "stem.wav", "sha256": _digest("stem.wav")}],
        }  # fmt: skip
        for _ in range(chance.choice((0, 1, 1, 2, 3))):
            facts = changed(facts, chance)
        if isinstance(facts, dict) and chance.random() < 0.3:
            facts["trim_db"] = chance.choice((float("nan"), float("inf"), True, 10**400, -(10**9)))
        data = written(facts, chance)
        if chance.random() < 0.3:
            at = chance.randint(0, len(data))
            data = data[:at] + chance.choice(_TEXTS) + data[at:]
        return damaged(data, chance) if chance.random() < 0.2 else data

    def run(self, data: bytes) -> Iterable[Fault | str]:
        """Look for a trim and for what may be removed, and remove it."""
        (self.folder / "report.json").write_bytes(data)
        old = self.folder / "stems" / "a.wav"
        if not old.exists():
            old.write_bytes(b"stem.wav")
        whole = whole_render([self.folder], "scene.toml", "0" * 64)
        assert whole is None or isfinite(whole.trim_db), f"trim {whole}"
        left = superseded(self.folder, ["report.json"], [self.stem])
        with Exchange(self.folder, (), left.ours):
            pass
        (self.folder / "mix.wav").write_bytes(b"mix.wav")
        (self.folder / "stems").mkdir(exist_ok=True)
        assert self.outside.exists() and self.stem.exists()
        return left.foreign


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def target(scratch: Path) -> ReportTarget:
    """The target in a folder."""
    return ReportTarget(scratch)
