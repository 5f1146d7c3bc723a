"""Scenes that `draft` is to add seats to: grown without losing a byte, or left alone."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from random import Random

import numpy as np
import soundfile

from fuzz.chance import damaged, few
from fuzz.scene_cases import SceneTarget
from seatwright.disk.scene_file import read_scene
from seatwright.drafting import draft
from seatwright.errors import Fault, SeatwrightError

_SEATED = ("oboe.wav", "violas.wav", "organ.wav")
_NEW = ("horns.wav", "Trp 1.wav")
_BASE = """title = "a"
[hall]
size = { width = 22, depth = 36, height = 16 }
[sections.woodwinds]
gain = -1
[seats.oboe]
stem = "oboe.wav"
bearing = -20
distance = 4.2
[seats.violas]
stem = "violas.wav"
section = "strings"
x = 2
y = 3
[seats.organ]
stem = "organ.wav"
treatment = "untouched"
[seatings.near.oboe]
bearing = 10
distance = 3
"""
_INLINE = """seats = { oboe = { stem = "oboe.wav", x = 1, y = 3 } }
sections.brass.gain = 1
"""
_DOTTED = """seats.oboe.stem = "oboe.wav"
seats.oboe.x = 1
seats.oboe.y = 3
"""
_ENDS = ("", "\n", "\r\n", "\n\n", "# end", "\t", " ", "\n#", "\n[seatings]", "\n[sections]",
         "\n[seats]", "\n[seatings.far]", "\n[sections.brass]", '\n[sections."brass"]',
         "\nalign = 1","\n[seats.horns]\nstem='organ.wav'\nx=1\ny=4", "\n[seats.\"horns\"]\nx=1",
         "\r")  # fmt: skip


class DraftTarget:
    """Bytes of a scene beside stems of which it seats some."""

    name = "draft"

    def __init__(self, scratch: Path):
        self.folder, self.path = scratch, scratch / "scene.toml"
        for stem in (*_SEATED, *_NEW):
            samples = np.random.default_rng(2).uniform(-0.1, 0.1, 50)
            soundfile.write(scratch / stem, samples, 48_000, "PCM_16")
        self.maker = SceneTarget.__new__(SceneTarget)
        self.maker.texts = [_BASE, _INLINE, _DOTTED]
        self.maker.lines = sorted({line for text in self.maker.texts for line in text.split("\n")})
        self.maker.keys = ["horns", "trumpets", "brass", '"horns"', "seats", "gain", "x", "stem"]

    def make(self, chance: Random) -> bytes:
        """A good scene with other line ends and a strange end, or one with mutations."""
        text = chance.choice((_BASE, _BASE, _INLINE, _DOTTED))
        for _ in range(few(chance, 3) - 1):
            text = self.maker.mutated(text, chance)
        if chance.random() < 0.3:
            text = text.rstrip("\n")
        text += chance.choice(_ENDS)
        if chance.random() < 0.3:
            text = text.replace("\n", "\r\n")
        data = text.encode("utf-8", "surrogatepass")
        if chance.random() < 0.1:
            data = b"\xef\xbb\xbf" + data
        return damaged(data, chance, 2) if chance.random() < 0.15 else data

    def run(self, data: bytes) -> Iterable[Fault | str]:
        """Draft; what was there stands there still, and reads as the same seats."""
        self.path.write_bytes(data)
        try:
            found = draft(self.folder, self.path)
        except SeatwrightError:
            assert self.path.read_bytes() == data, "a refused draft changed the scene"
            raise
        now = self.path.read_bytes()
        assert now.startswith(data), "bytes of the scene were lost"
        if found.seats:
            (self.folder / "before.toml").write_bytes(data)
            old, new = read_scene(self.folder / "before.toml").scene, read_scene(self.path).scene
            assert all(new.seats[name] == seat for name, seat in old.seats.items())
            assert len(new.seats) == len(old.seats) + len(found.seats)
            assert (new.hall, new.title, new.seatings) == (old.hall, old.title, old.seatings)
            assert all(new.sections[name] == one for name, one in old.sections.items())
        else:
            assert now == data, "a draft without seats changed the scene"
        return found.faults


def target(scratch: Path) -> DraftTarget:
    """The target in a folder."""
    return DraftTarget(scratch)
