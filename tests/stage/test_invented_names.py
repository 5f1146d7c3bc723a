"""Stem names invented by somebody else than the matcher's author find their families."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest

from seatwright.stage.name_table import PARTS
from seatwright.stage.naming import read_name

_FILE = Path(__file__).parents[1] / "references" / "stem_names.toml"


@dataclass(frozen=True)
class Invented:
    """A name and what its inventor meant by it."""

    name: str
    means: str
    family: list[str]
    ambiguous: bool


STEMS = [Invented(**stem) for stem in tomllib.loads(_FILE.read_text("utf-8"))["stem"]]
CLEAR = [stem for stem in STEMS if not stem.ambiguous]
ASKED = [stem for stem in STEMS if stem.ambiguous]

DECIDED = {
    "BRASS_Cor.wav": "horns",
    "STR_Bass_pizz.wav": "basses",
    "Choir_Alto_Ah.wav": "alto",
    "Strings-Cel.wav": "cellos",
    "Keys_Cel.wav": "celesta",
    "Chor_Tenor_v2.wav": "tenor",
    "WW_Picc.wav": "piccolo",
    "Archi_Br.wav": "violas",
}
"""Ambiguous names with a family word that leaves one meaning."""


def family_of(part: str) -> str:
    """Family of a part as the invented names call it."""
    if not part:
        return "nothing"
    return "plucked" if part == "harp" else PARTS[part].family


def missed() -> list[tuple[str, str]]:
    """Clear names taken for another family, or for none, with what they were taken for."""
    read = [(stem, read_name(stem.name).part) for stem in CLEAR]
    return [(stem.name, part) for stem, part in read if family_of(part) not in stem.family]


def test_the_invented_names_are_enough() -> None:
    assert len(CLEAR) >= 80
    assert len(ASKED) >= 15


def test_95_of_100_clear_names_find_their_family() -> None:
    found = missed()
    assert len(found) <= 0.05 * len(CLEAR), found


def test_hardly_a_clear_name_is_taken_for_something_else() -> None:
    wrong = [(name, part) for name, part in missed() if part]
    assert len(wrong) <= 0.01 * len(CLEAR), wrong


@pytest.mark.parametrize("stem", ASKED, ids=lambda stem: stem.name)
def test_no_ambiguous_name_is_guessed_in_silence(stem: Invented) -> None:
    part = read_name(stem.name).part
    assert part in ("", DECIDED.get(stem.name, "")) or (
        stem.name not in DECIDED and family_of(part) in stem.family
    )


def test_a_family_word_decides() -> None:
    read = {name: read_name(name).part for name in DECIDED}
    assert read == DECIDED
