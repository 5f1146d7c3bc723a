"""Names of stems, whole folders of them, read and seated as `draft` seats them."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from pathlib import Path
from random import Random
from zlib import crc32

from pydantic import TypeAdapter, ValidationError

from fuzz.chance import few
from seatwright.disk.scene_checks import checked
from seatwright.disk.toml_text import decoded, parsed
from seatwright.errors import Fault
from seatwright.stage.description import StemName
from seatwright.stage.draft import draft_seats
from seatwright.stage.layouts import layout_for
from seatwright.stage.name_noise import NOISE
from seatwright.stage.name_table import AMBIGUOUS, PARTS
from seatwright.stage.naming import read_names
from seatwright.views.draft_text import scene_text

_SEATED = 8
"""One folder in so many is seated and written as a scene."""

_LONGEST = 255
_STEM_NAME: TypeAdapter[str] = TypeAdapter(StemName)
_JOINTS = (" ", "_", "-", ".", "", "__", " - ", "+", "(", ")", "[", "]", "#", "&", "'", ",")
_STRANGE = ("1", "2", "01", "007", "II", "iv", "1st", "2.", "3º", "²", "٣", "Ⅳ", "½", "①", "é", "Ö",
            "ß", "ﬁ", "İ", "ǅ", "œ", "e\u0301" * 20, "\u202e", "\u200b", "\ufeff", "\uffff", "🎻",
            "\x7f", '"', "\\", "*", "?", ":", "a" * 60, "1" * 60, ".", "v", "v1", "V 2", "L", ".R",
            "_L", "[" * 30, "(" * 30, "1m1", "t1" * 20, "48khz", "Aa" * 30)  # fmt: skip
_ENDINGS = (".wav", ".WAV", ".flac", ".aif", ".aiff", "", ".wav.wav", ".")


class NamesTarget:
    """Names of a folder's stems in UTF-8, one a line."""

    name = "names"

    def __init__(self, _scratch: Path):
        spelt = {one for part in PARTS.values() for one in part.spellings.split("|")}
        self.words = sorted(spelt | set(AMBIGUOUS)), sorted(NOISE), list(_STRANGE)

    def make(self, chance: Random) -> bytes:
        """Up to forty names; now and then the same with other numbers."""
        names = [self.one(chance) for _ in range(few(chance, 12))]
        if chance.random() < 0.2:
            names = [f"{number:02d} {names[0]}" for number in range(chance.choice((3, 70)))]
        return "\n".join(names).encode()

    def one(self, chance: Random) -> str:
        """A name of words from all over, at most as long as file systems allow."""
        name = ""
        for _ in range(few(chance, 30 if chance.random() < 0.1 else 6)):
            word = chance.choice(self.words[chance.choices((0, 1, 2), (5, 3, 2))[0]])
            word = chance.choice((word, word.upper(), word.title()))
            name += chance.choice(_JOINTS) + word
        name = (name + chance.choice(_ENDINGS)).lstrip(".").replace("/", "").replace("\0", "")
        return name.encode()[:_LONGEST].decode("utf-8", "ignore") or "a"

    def run(self, data: bytes) -> Iterable[Fault | str]:
        """Read the names; a drafted scene has to be one."""
        lines = data.decode("utf-8", "replace").split("\n")
        names = [name for name in dict.fromkeys(lines) if _is_name(name)]
        guesses = read_names(names)
        assert [guess.name for guess in guesses] == names
        assert all(0.0 <= guess.confidence <= 1.0 for guess in guesses)
        meant = {part for guess in guesses for part in (*guess.candidates, guess.part) if part}
        assert meant <= PARTS.keys(), meant - PARTS.keys()
        if names and crc32(data) % _SEATED == 0:
            seated(names)
        return [guess.part for guess in guesses]


def _is_name(name: str) -> bool:
    """Whether a file can have it and a scene can hold it, as `draft` asks of stems."""
    try:
        _STEM_NAME.validate_python(name)
    except ValidationError:
        return False
    return "/" not in name and len(name.encode()) <= _LONGEST


def seated(names: list[str]) -> None:
    """Every name sits somewhere, once, in a scene that stands every check."""
    guesses = read_names(names)
    layout, why = layout_for({guess.part for guess in guesses})
    seats = draft_seats(guesses, layout)
    text, faults = decoded(scene_text("draft", ".", seats, layout, why).encode())
    table, more = parsed(text)
    faults += more or checked(table)[1]
    assert not faults, "\n".join(map(str, faults))
    written = [seat["stem"] for seat in tomllib.loads(text)["seats"].values()]
    stems = [stem for one in written for stem in ([one] if isinstance(one, str) else one)]
    assert sorted(stems) == sorted(names)


def target(scratch: Path) -> NamesTarget:
    """The target; it needs no folder."""
    return NamesTarget(scratch)
