"""What a stem's file name says: which part plays, which number, which side of a pair.

A name is cut into words, words that only number, date or describe a stem are left aside, and the
longest spelling of the name table that is left decides. Spellings with more than one meaning are
never decided by the name alone.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from seatwright.stage.name_company import GUESSED, with_company
from seatwright.stage.name_guess import NameGuess, without_ending, without_side
from seatwright.stage.name_noise import CUE, MIXES, NOISE
from seatwright.stage.name_table import AMBIGUOUS, GROUPS, PARTS, ROLES

__all__ = ["NameGuess", "mix_words", "read_name", "read_names"]

SURE, LIKELY, SHARED = 0.95, 0.8, 0.7
"""Confidence of a full name, of an abbreviation, of several parts on one stem."""

_MOST_WORDS = 4

_GLUED = 7
"""Letters from which on a spelling of several words is no accident when written together."""

_ROMAN = {"i": "1", "ii": "2", "iii": "3", "iv": "4"}
_ORDINAL = re.compile(r"(?i)(?P<number>[1-9])(st|nd|rd|th|er|re|e|o|a|°|º|ª|\.)")
_LIGATURES = str.maketrans({"œ": "oe", "Œ": "Oe", "æ": "ae", "Æ": "Ae", "ø": "o", "Ø": "O"})
"""Letters that Unicode does not take apart."""

_VERSIONS = ("v 1", "v 2")
"""First and second violins where nothing else is said, else a version."""


def read_names(names: Iterable[str]) -> list[NameGuess]:
    """Read the stem names of one folder together.

    Parameters
    ----------
    names : iterable of str
        File names, with or without their ending.

    Returns
    -------
    list of NameGuess
        In the order given. Numbers that count through the folder are left aside; an ambiguous name
        is decided where other names of the folder leave one meaning, and says so.
    """
    given = list(names)
    counted = _counted(given)
    guesses = [read_name(name, counted=counted) for name in given]
    return with_company(guesses, counted)


def mix_words(names: Iterable[str]) -> dict[str, str]:
    """Names of one folder that say they are a mix, a reference or a click rather than a stem.

    Parameters
    ----------
    names : iterable of str
        File names, with or without their ending.

    Returns
    -------
    dict of str to str
        For each such name the words that say so, such as "mix". A name with a known
        instrument is none; nor is one with an unknown word where names with an instrument carry
        the same word, for example "santur mix" beside "violin mix".
    """
    spelt = {
        name: _words(_foldings(without_side(without_ending(name))[0])[0], False) for name in names
    }
    said = {name: [word for word in words if word in MIXES] for name, words in spelt.items()}
    players = {name for name, words in spelt.items() if said[name] and _names_a_player(words)}
    suffixes = {word for name in players for word in said[name]}
    return {
        name: " ".join(said[name])
        for name, words in spelt.items()
        if said[name]
        and name not in players
        and (not suffixes.intersection(said[name]) or _only_describes(words))
    }


def _names_a_player(words: list[str]) -> bool:
    """Whether a part is named, by more than a letter that counts versions as well."""
    return any(m.letters > 1 and m.spelling not in _VERSIONS for m in _matches(words))


def _only_describes(words: list[str]) -> bool:
    return all(word in NOISE or word in MIXES or word.isdigit() for word in words)


def read_name(name: str, counted: bool = False) -> NameGuess:
    """Read one stem name.

    Parameters
    ----------
    name : str
        File name, with or without its ending.
    counted : bool
        A number in front only counts the files.

    Returns
    -------
    NameGuess
    """
    base, side = without_side(without_ending(name))
    best = NameGuess(name, "", side=side)
    for text in _foldings(base):
        guess = _read_words(name, _words(text, counted), side)
        if _rank(guess) > _rank(best):
            best = guess
    return best


def _rank(guess: NameGuess) -> float:
    return guess.confidence + (0.01 if guess.candidates else 0.0)


def _foldings(text: str) -> tuple[str, ...]:
    """Plain letters, once with umlauts written out and once with their dots left out."""
    composed = unicodedata.normalize("NFC", text).translate(_LIGATURES)
    spelt = composed
    for letter, two in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss")):
        spelt = spelt.replace(letter, two).replace(letter.upper(), two.capitalize())
    plain = [
        unicodedata.normalize("NFKD", form).encode("ascii", "ignore").decode()
        for form in (spelt, composed.replace("ß", "ss"))
    ]
    return tuple(dict.fromkeys(plain))


def _words(text: str, counted: bool) -> list[str]:
    """Lower-case words and numbers of a name."""
    text = re.sub(r"\[[^]]*\]|\([^)]*\)", lambda found: f" {found.group(0)[1:-1]} ", text)
    text = _ORDINAL.sub(lambda found: f" {found.group('number')} ", text, count=1)
    text = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})", " ", text)
    text = CUE.sub(" ", text.lower())
    text = re.sub(r"(?<=[a-z])(?=\d)|(?<=\d)(?=[a-z])", " ", text)
    words = [word for word in re.split(r"[^a-z0-9]+", text) if word]
    words = [_ROMAN.get(word, word) for word in words]
    if counted:
        while len(words) > 1 and words[0].isdigit():
            words = words[1:]
    return words


def _counted(names: list[str]) -> bool:
    """Whether most names begin with a number of their own that goes on counting."""
    numbers = [found.group(1) for name in names if (found := re.match(r"\W*(\d+)[\W_]", name))]
    return len(numbers) >= max(3, 0.6 * len(names)) and len(set(numbers)) >= 0.9 * len(numbers)


@cache
def _spellings() -> dict[tuple[str, ...], str]:
    """Part by the words of each spelling, long ones also written together."""
    spelt = {
        tuple(_words(spelling, counted=False)): part.name
        for part in PARTS.values()
        for spelling in part.spellings.split("|")
    }
    glued = {
        ("".join(words),): part
        for words, part in spelt.items()
        if len(words) > 1 and "".join(words).isalpha() and len("".join(words)) >= _GLUED
    }
    return glued | spelt


@dataclass(frozen=True)
class _Match:
    """A spelling found at some words of a name."""

    start: int
    stop: int
    spelling: str
    parts: tuple[str, ...]

    @property
    def letters(self) -> int:
        return len(self.spelling.replace(" ", ""))


def _read_words(name: str, words: list[str], side: str) -> NameGuess:
    matches = _matches(words)
    if not matches:
        return NameGuess(name, "", side=side)
    group = next((m.parts[0] for m in matches if m.parts[0] in GROUPS), "")
    special = [m for m in matches if m.parts[0] not in GROUPS]
    players = [m for m in special if m.parts[0] not in ROLES]
    chosen = players or special or matches[:1]
    parts = tuple(dict.fromkeys(part for match in chosen for part in match.parts))
    number = _number(words, chosen[0])
    if len(parts) > 1 and group:
        parts = _of_family(parts, group) or parts
    spelling = " ".join(match.spelling for match in chosen)
    if together := _together(chosen, parts):
        why = f'"{spelling}" are several parts of one family'
        return NameGuess(name, together, (), SHARED, why, "", side, group)
    if len(parts) > 1:
        why = f'"{spelling}" can mean {", ".join(parts[:-1])} or {parts[-1]}'
        return NameGuess(name, "", parts, 0.3, why, number, side, group)
    part, why = _numbered_violins(parts[0], number), f'"{spelling}"'
    confidence = _confidence(words, chosen)
    return NameGuess(name, part, (), confidence, why, number, side, group)


def _together(chosen: list[_Match], parts: tuple[str, ...]) -> str:
    """The family several named parts share; "" where one is unsure or another family's."""
    families = {PARTS[part].family for part in parts}
    if len(parts) < 2 or len(families) > 1 or any(len(match.parts) > 1 for match in chosen):
        return ""
    family = families.pop()
    return family if family in GROUPS else ""


def _of_family(parts: tuple[str, ...], group: str) -> tuple[str, ...]:
    """The parts that belong to the family a name gives."""
    family = PARTS[group].family
    return tuple(part for part in parts if PARTS[part].family == family and part not in GROUPS)


def _matches(words: list[str]) -> list[_Match]:
    """Spellings in a name, none inside another, in the order of the name."""
    taken: list[_Match] = []
    for match in sorted(_all_matches(words), key=lambda m: (-m.letters, m.start)):
        if all(match.stop <= other.start or other.stop <= match.start for other in taken):
            taken.append(match)
    return sorted(taken, key=lambda m: m.start)


def _all_matches(words: list[str]) -> Iterable[_Match]:
    useful = [word for word in words if word not in NOISE and not word.isdigit()]
    for size in range(1, _MOST_WORDS + 1):
        for start in range(len(words) - size + 1):
            spelt = tuple(words[start : start + size])
            text = " ".join(spelt)
            if (len(text) == 1 or text in _VERSIONS) and useful != [text[0]]:
                continue
            if text in AMBIGUOUS and _may_stand(spelt, words):
                yield _Match(start, start + size, text, AMBIGUOUS[text])
            elif (part := _spellings().get(spelt)) and _may_stand(spelt, words):
                yield _Match(start, start + size, text, (part,))


def _may_stand(spelt: tuple[str, ...], words: list[str]) -> bool:
    """A word that also describes how or where was recorded counts only where nothing else does."""
    if len(spelt) > 1 or spelt[0] not in NOISE:
        return True
    return all(word in NOISE or word.isdigit() for word in words)


def _number(words: list[str], match: _Match) -> str:
    """The number right behind a spelling, or right before it."""
    behind = words[match.stop : match.stop + 2]
    numbers = [word.lstrip("0") for word in behind if word.isdigit() and len(word) <= 2]
    if behind and behind[0].isdigit() and numbers:
        return "-".join(numbers)
    inside = [word for word in match.spelling.split() if word.isdigit()]
    if inside:
        return inside[0]
    before = words[max(0, match.start - 2) : match.start]
    if not before or not before[-1].isdigit() or len(before[-1]) > 1 or before[0] in NOISE:
        return ""
    return before[-1]


def _numbered_violins(part: str, number: str) -> str:
    """Violins with a number are first or second violins."""
    if part == "violin" and number in ("1", "2"):
        return f"violins{number}"
    return part


def _confidence(words: list[str], chosen: list[_Match]) -> float:
    """Lower for short spellings and for words that nothing explains."""
    explained = {place for match in chosen for place in range(match.start, match.stop)}
    strange = [
        word
        for place, word in enumerate(words)
        if place not in explained and word not in NOISE and not word.isdigit() and len(word) > 1
        and _spellings().get((word,)) not in GROUPS
    ]  # fmt: skip
    letters = max(match.letters for match in chosen)
    base = SURE if letters >= 4 else LIKELY if letters >= 2 else GUESSED
    return max(0.5, base - 0.05 * len(strange))
