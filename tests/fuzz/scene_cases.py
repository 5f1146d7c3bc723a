"""Scenes: documents of TOML between right and wrong, read as `check` and `plan` read them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from random import Random
from xml.etree import ElementTree
from zlib import crc32

import numpy as np
import soundfile

from fuzz.chance import damaged, few, spliced
from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.scene_file import read_scene, stem_files
from seatwright.errors import Fault, SeatwrightError
from seatwright.views.stage_plan import stage_plan

ROOT = Path(__file__).parents[2]
GOOD = sorted((ROOT / "scenes").glob("*.toml"))
BAD = sorted((ROOT / "tests/scenes/bad").glob("*.toml"))
_STEMS = ("oboe.wav", "violas.L.wav", "violas.R.wav", "horns.flac", "horns.aiff", "half_L.wav")
_LARGE = 0.0005
"""Share of cases that are blown up towards the most bytes a scene may have."""

_VALUES = (
    "0", "-0", "1", "-1", "+5", "1e3", "1E400", "-1e-400", "0.5", "1_000", "0x7f", "0o17", "0b1",
    "9223372036854775807", "9223372036854775808", "-9223372036854775808", "123456789" * 5,
    "inf", "-inf", "nan", "true", "false", '""', "''", '"""\n"""', "'''\na'''", '"\\u0000"',
    '"\\uFFFF"', '"\\u202E"', '"\\U0010FFFF"', '"\\uD800"', '"\\x1b"', '"a\\\nb"', "[]", "{}",
    "[[]]", "[1, 2,]", "[1, 'a', {}]", "{ a = 1 }", "{ a.b = 1, a.c = 2 }", "{ x = 1, }",
    "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", "1979-05-27T07:32:00.999999-23:59",
    "2023-02-30", "00:00:61", '"oboe.wav"', '["violas.L.wav", "violas.R.wav"]', '"violas"',
    '"violas.L"', '"half"', '"half_L"', '"half_R.wav"', '"horns"',
    '["violas.R", "half_L.wav"]', '"OBOE"',
    '"../oboe.wav"', '"/etc/passwd"', '"..\\\\x"', '"C:\\\\x.wav"', '"a\\nb"', '"~/x"', '"."',
    '"placed"', '"blended"', '"untouched"', '"held"', '"natural"', '"measured"', '"sphere"',
    '"x.sofa"', '"omni"', '"cardioid"', '"mid-side"', '"three"', '"viola"', '"oboe"', '"choir"',
    '"marble"', '"small concert hall"', "{ width = 22, depth = 36, height = 16 }",
    "{ width = 1, depth = 1, height = 1 }", "{ absorption = 0.1, scattering = 0.2 }",
    "{ absorption = [0.1, 0.2, 0.1, 0.2, 0.3, 0.4, 0.5], scattering = 1 }",
    "{ tree = 0, close = -6 }", "{ tree = 0, outriggers = -5, close = -11, head = 0 }",
)  # fmt: skip
_KEYS = (
    "a", '""', "''", '"a b"', '"\\u0000"', '"\\uFFFF"', "'ʻ'", "-", "_", "0", "1", "00", "true",
    "a.b", "a . b", '"a".b', "a.b.c.d.e.f.g.h", "é", "=", "x", "y", "seats", "NAME", "a" * 250,
    '"' + "e\u0301" * 100 + '"', "[key]", "list[str]", "SurfaceTable",
)  # fmt: skip
_PIECES = (
    "[", "]", "[[", "]]", "{", "}", "=", ",", ".", "#", '"', "'", '"""', "'''", "\\", "\n", "\r",
    "\r\n", " ", "\t", "\ufeff", "\u00a0", "\u2028", "\0", "\x7f", "e", "-", "+", "_", ":", "T",
)  # fmt: skip
_SMALL = """title = "a small stage"
[hall]
size = { width = 18, depth = 30, height = 10 }
[hall.surfaces]
floor = "wooden_lining"
[sections.strings]
perspectives = { tree = 0, outriggers = -5, close = -11 }
gain = -1.5
[seats.violas]
stem = ["violas.L.wav", "violas.R.wav"]
section = "strings"
instrument = "viola"
bearing = 23
distance = 5.1
riser = 0.0
[seats.oboe]
stem = "oboe.wav"
x = -1
y = 2.5
treatment = "blended"
[seats.horns]
stem = "horns.flac"
treatment = "untouched"
[seatings.divided.violas]
bearing = -24
distance = 5.2
[seatings."two: far".oboe]
x = -3
y = 6
"""
_GOOD_PAIRS: dict[str, tuple[str, ...]] = {
    "": ('title = "\\uFFFE \\u202E"', "rate = 48000", 'align = "timestamp"', "format = 1"),
    "[seats.": (
        "gain = -3.5", "riser = 0.4", "mute = true", "width = 0.5", "players = 12", "facing = 180",
        'section = "brass"', 'instrument = "horn"', "tail = -3", "[seats.x]\nstem='a'\nx=3\ny=8",
    ),
    "[sections.": ("gain = -2", "perspectives = { ambient = 0 }", 'level = "natural"'),
    "[hall]": ("reverberation = 1.5", "podium = 9", "temperature = 18", "humidity = 40"),
    "[microphones": ("[microphones.head]\nmodel = \"x.sofa\"", "[microphones.tree]\narray='ab'",
                     "[microphones.head]\nmodel = \"\\u0000.sofa\""),
    "[seatings.": ("facing = 90", "riser = 1", "gain = 3", "[seatings.far.oboe]\nx=2\ny=9"),
}  # fmt: skip
_KEY = re.compile(r"^\s*\[*([^\s=\]]+)")
_PLAIN_VALUE = re.compile(r"=.*")


class SceneTarget:
    """Bytes of a scene file, in a folder that has some of the stems."""

    name = "scene"

    def __init__(self, scratch: Path):
        self.path = scratch / "scene.toml"
        for stem in _STEMS:
            soundfile.write(scratch / stem, np.linspace(-0.1, 0.1, 40), 48_000)
        good, bad = (
            [p.read_bytes().decode("utf-8", "replace") for p in some] for some in (GOOD, BAD)
        )
        self.texts = [*bad, *good, *[_SMALL] * (len(bad) - len(good))]  # half of them good
        self.lines = sorted({line for text in self.texts for line in text.split("\n")})
        known = (_KEY.match(line) for line in self.lines)
        self.keys = sorted({found[1] for found in known if found} | set(_KEYS))

    def make(self, chance: Random) -> bytes:
        """A scene with some mutations; now and then one made of nothing but grammar."""
        if chance.random() < 0.15:
            text = self.document(chance)
        else:
            text = self.mutated(chance.choice(self.texts), chance)
        if chance.random() < _LARGE:
            text = self.blown_up(text, chance)
        data = text.encode("utf-8", "surrogatepass")
        if chance.random() < 0.1:
            data = data.replace(b"\n", b"\r\n")
        return damaged(data, chance) if chance.random() < 0.15 else data

    def mutated(self, text: str, chance: Random) -> str:
        """A text with one to eight mutations."""
        lines = text.split("\n")
        for _ in range(few(chance, 8) - chance.choice((0, 1))):
            lines = self.step(lines, chance)
        return "\n".join(lines)

    def step(self, lines: list[str], chance: Random) -> list[str]:
        """One mutation of lines."""
        place = chance.randint(0, len(lines))
        line = lines[place] if place < len(lines) else ""
        match chance.randrange(12):
            case 0:
                new = [_PLAIN_VALUE.sub(lambda _: f"= {self.value(chance)}", line)]
            case 1:
                new = [line.replace(self.key_of(line), chance.choice(self.keys), 1)]
            case 2:
                new = [line, self.pair(chance)]
            case 3:
                new = [self.header(chance), line]
            case 4:
                new = []
            case 5:
                new = [line, chance.choice(self.lines), line]
            case 6:
                at = chance.randint(0, len(line))
                new = [line[:at] + chance.choice(_PIECES) + line[at:]]
            case 7:
                return spliced(lines, chance.choice(self.texts).split("\n"), chance)
            case 8:
                return _grown(lines, chance)
            case 9:
                new = [re.sub(r"\d+", lambda _: str(chance.randint(0, 40)), line)]
            case 10:
                new = [line.replace('"', chance.choice(("'", '"""')))]
            case _:
                new = [line.replace("[", "[[").replace("]", "]]") if "[" in line else "[" + line]
        return [*lines[:place], *new, *lines[place + 1 :]]

    def key_of(self, line: str) -> str:
        found = _KEY.match(line)
        return found[1] if found else " "

    def value(self, chance: Random, depth: int = 0) -> str:
        """A value, now and then nested; sometimes far too deep."""
        if depth < 3 and chance.random() < 0.15:
            inner = [self.value(chance, depth + 1) for _ in range(few(chance, 4))]
            if chance.random() < 0.5:
                return f"[{', '.join(inner)}]"
            return "{ " + ", ".join(f"{chance.choice(self.keys)} = {one}" for one in inner) + " }"
        if chance.random() < 0.01:
            deep = chance.choice((15, 16, 17, 100, 3000))
            return "[" * deep + "]" * deep
        return chance.choice(_VALUES)

    def pair(self, chance: Random) -> str:
        return f"{chance.choice(self.keys)} = {self.value(chance)}"

    def header(self, chance: Random) -> str:
        parts = [chance.choice(self.keys) for _ in range(few(chance, 5))]
        if chance.random() < 0.6:
            parts.insert(0, chance.choice(("seats", "sections", "seatings", "hall", "microphones")))
        name = ".".join(parts)
        return f"[[{name}]]" if chance.random() < 0.15 else f"[{name}]"

    def document(self, chance: Random) -> str:
        """Headers and pairs in any order."""
        lines = []
        for _ in range(few(chance, 40) * 2):
            made = self.header if chance.random() < 0.3 else self.pair
            lines.append(made(chance))
        return "\n".join(lines) + "\n"

    def blown_up(self, text: str, chance: Random) -> str:
        """One piece of the text many times over, up to about the most bytes of a scene."""
        few_signs = chance.choice(_PIECES) * chance.randint(1, 20) + chance.choice(("", "\n"))
        lines = [text, self.pair(chance) + "\n", self.header(chance) + "\n"]
        piece = chance.choice((*lines, few_signs, few_signs, few_signs))
        times = chance.choice((100, 5000, 2**20 // max(1, len(piece))))
        many = piece * min(times, 2**20 // max(1, len(piece)))
        return chance.choice((many, text + many, many + text))

    def run(self, data: bytes) -> Iterable[Fault | str]:
        """Read, seat every alternative, look for the stems, draw the plan; check now and then."""
        self.path.write_bytes(data)
        chosen = crc32(data)
        told: list[Fault | str]
        if chosen % 32 == 3:
            read, cast, _ = read_and_cast(self.path, allow_outside=bool(chosen & 8))
            told = [*read.warnings, *cast.warnings]
        else:
            read = read_scene(self.path, allow_outside=bool(chosen & 1))
            told = list(read.warnings)
        for seating in (None, *read.scene.seatings):
            read.seated(seating)
        try:
            stem_files(read)
        except SeatwrightError as error:
            told += error.faults
        if chosen % 16 == 0:
            title = read.scene.title or "untitled"
            other = next(iter(read.scene.seatings), None)
            picture = stage_plan(read.scene, read.scene.seated(other) if other else None, title)
            told += ElementTree.fromstring(picture).itertext()
        return told


def _grown(lines: list[str], chance: Random) -> list[str]:
    """A key that may stand there behind a table's header, or on top."""
    header, pairs = chance.choice(list(_GOOD_PAIRS.items()))
    places = [place for place, line in enumerate(lines, start=1) if line.startswith(header)]
    place = chance.choice(places) if header and places else 0
    return [*lines[:place], chance.choice(pairs), *lines[place:]]


def target(scratch: Path) -> SceneTarget:
    """The target in a folder."""
    return SceneTarget(scratch)
