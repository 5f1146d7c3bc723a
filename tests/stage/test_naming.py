"""Names of stems: mangled spellings of the table, and names that must be asked for."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.stage.name_table import AMBIGUOUS, GROUPS, PARTS
from seatwright.stage.naming import mix_words, read_name, read_names

FRONT = ("", "01_", "12 - ", "1m2_", "Cue 3 ", "stem-", "MyPiece_", "2026-03-01 ", "take2_")
BACK = ("", "_close", " Tree", "-amb", "_legato", " pizz", "_sus_v03", " (mix)", "_48k", " FINAL")
SIDES = ("", ".L", ".R")
ENDINGS = (".wav", ".WAV", ".flac", ".aif", "")


def mangled(spelling: str, rng: random.Random) -> str:
    """A spelling as a file name somebody might have given it."""
    words = spelling.split()
    joint = rng.choice(("_", " ", "-", "."))
    style = rng.choice((str.lower, str.upper, str.title))
    body = joint.join(style(word) for word in words)
    return f"{rng.choice(FRONT)}{body}{rng.choice(BACK)}{rng.choice(SIDES)}{rng.choice(ENDINGS)}"


def table_names() -> list[tuple[str, str]]:
    """A mangled name and its part for every spelling that means one thing."""
    rng = random.Random(20261125)
    return [
        (mangled(spelling, rng), part.name)
        for part in PARTS.values()
        for spelling in part.spellings.split("|")
        if spelling not in AMBIGUOUS and len(spelling) > 1
    ]


def test_at_least_95_of_100_mangled_names_find_their_section() -> None:
    names = table_names()
    assert len(names) >= 300
    right = [
        PARTS[guess.part].family == PARTS[part].family
        for name, part in names
        if (guess := read_name(name)).part
    ]
    assert sum(right) >= 0.95 * len(names)


def test_what_is_wrong_among_mangled_names_is_rare() -> None:
    """Not knowing is better than a wrong guess: at most one name in a hundred is taken wrongly."""
    wrong = [
        (name, part, guess.part)
        for name, part in table_names()
        if (guess := read_name(name)).part and PARTS[guess.part].family != PARTS[part].family
    ]
    assert len(wrong) <= 0.01 * len(table_names()), wrong


@pytest.mark.parametrize("spelling", sorted(AMBIGUOUS))
@pytest.mark.parametrize("form", ["{}", "03_{}.wav", "{}_close.flac", "1m2 {} legato"])
def test_ambiguous_names_are_asked_never_guessed(spelling: str, form: str) -> None:
    if len(spelling) == 1 and form != "{}":
        pytest.skip("a single letter is no name beside other words")
    guess = read_name(form.format(spelling.title()))
    assert guess.part == ""
    assert set(AMBIGUOUS[spelling]) <= set(guess.candidates)


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("BRASS_Cor.wav", "horns"),
        ("Choir Alto", "alto"),
        ("STR_Bass", "basses"),
        ("WW_Cor", "english horn"),
        ("Perc Tamb", None),
    ],
)
def test_a_family_in_the_name_settles_what_it_can(name: str, part: str | None) -> None:
    assert read_name(name).part == (part or "")


def test_neighbours_settle_voices_and_say_so() -> None:
    guesses = read_names(["soprano", "alto", "tenor", "violin1"])
    assert guesses[1].part == "alto"
    assert guesses[1].confidence < 0.75
    assert "soprano and tenor" in guesses[1].why


def test_a_bass_beside_strings_and_voices_stays_open() -> None:
    names = ["soprano", "tenor", "cellos", "violas", "violins 1", "bass"]
    assert read_names(names)[5].part == ""


def test_score_order_settles_a_bass() -> None:
    names = ["01_violin1", "02_cello", "03_soprano", "04_alto", "05_tenor", "06_bass"]
    assert read_names(names)[5].part == "choir bass"


@pytest.mark.parametrize(
    ("name", "part", "number", "side"),
    [
        ("Vln I leg.wav", "violins1", "1", ""),
        ("1. Violine.L.wav", "violins1", "1", "L"),
        ("Violons II.R.flac", "violins2", "2", "R"),
        ("2nd Violins", "violins2", "2", ""),
        ("Hrn 1-2", "horns", "1-2", ""),
        ("Trompete 3", "trumpets", "3", ""),
        ("Flöte 2", "flutes", "2", ""),
        ("Große Trommel", "bass drum", "", ""),
        ("Contrabassoon", "contrabassoon", "", ""),
        ("Bass Clarinet", "bass clarinet", "", ""),
        ("FrenchHornsLong_Close", "horns", "", ""),
    ],
)
def test_numbers_sides_and_languages(name: str, part: str, number: str, side: str) -> None:
    guess = read_name(name)
    assert (guess.part, guess.number, guess.side) == (part, number, side)


def test_numbers_that_count_the_folder_are_no_desks() -> None:
    names = ["1 Violine", "2 Viola", "3 Horn", "4 Pauken"]
    assert [guess.part for guess in read_names(names)] == ["violin", "violas", "horns", "timpani"]
    assert [guess.number for guess in read_names(names)] == ["", "", "", ""]


def test_unknown_names_stay_unknown() -> None:
    guess = read_name("Granular pad 7")
    assert (guess.part, guess.candidates, guess.confidence) == ("", (), 0.0)


def test_groups_are_parts_of_the_table() -> None:
    assert all(group in PARTS for group in GROUPS)
    assert all(part in PARTS for parts in AMBIGUOUS.values() for part in parts)


@given(st.text(max_size=60))
def test_any_text_is_read_without_failing(name: str) -> None:
    guess = read_name(name)
    assert 0.0 <= guess.confidence <= 1.0
    assert not (guess.part and guess.candidates)


@pytest.mark.parametrize(
    ("names", "mixes"),
    [
        (("Stereo Mix.wav", "ref.L.wav", "ref.R.wav", "click.wav"), 4),
        (("Violin mix.wav", "Cor_master.wav", "Streicher Mischung.wav"), 0),
        (("Remixed.wav", "mastermind.wav"), 0),  # whole words only
        (("Santur mix.wav",), 1),
        (("Santur mix.wav", "Violin mix.wav", "Full mix.wav"), 1),  # a folder's habit
    ],
)
def test_names_that_say_they_are_a_mix(names: tuple[str, ...], mixes: int) -> None:
    assert len(mix_words(names)) == mixes
