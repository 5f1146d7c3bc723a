"""Ambiguous stem names that the other names of their folder settle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from seatwright.stage.name_guess import NameGuess

GUESSED = 0.6
"""Confidence of what only its neighbours decide; a short name alone is no surer."""

_COMPANY: Mapping[str, tuple[str, ...]] = {
    "soprano": ("alto", "tenor"),
    "alto": ("soprano", "tenor"),
    "tenor": ("soprano", "alto"),
    "choir bass": ("soprano", "tenor"),
    "basses": ("cellos", "violas", "violins1", "violins2"),
}
"""Parts of which two or more have to be there for an ambiguous name to mean this one."""

_VOICES = ("soprano", "alto", "tenor")

_BEFORE: Mapping[str, tuple[str, ...]] = {
    "alto": ("soprano",),
    "choir bass": ("tenor",),
    "basses": ("cellos",),
    "tuba": ("trombones", "bass trombone"),
    "trumpets": ("horns",),
}
"""Parts that stand right before a part in score order."""


def with_company(guesses: list[NameGuess], counted: bool) -> list[NameGuess]:
    """Guesses of one folder; what the other names settle is settled and says so."""
    there = {guess.part for guess in guesses if guess.part}
    voices = {part for guess in guesses for part in guess.candidates if part in _VOICES}
    decided: list[NameGuess] = []
    for guess in guesses:
        before = decided[-1].part if decided and counted else ""
        decided.append(_decided(guess, there, voices, before) if guess.candidates else guess)
    return decided


def _decided(guess: NameGuess, there: set[str], voices: set[str], before: str) -> NameGuess:
    """Settle an ambiguous name where the other names of the folder leave one meaning.

    Names that may be voices are company for voices only: together they are a choir.
    """
    met = {part: there | voices if part in (*_VOICES, "choir bass") else there for part in _COMPANY}
    free = [part for part in guess.candidates if part not in there]
    follows = [part for part in free if before and before in _BEFORE.get(part, ())]
    company = [
        part for part in free if sum(other in met[part] for other in _COMPANY.get(part, ())) >= 2
    ]
    fitting = follows or company
    if len(fitting) != 1:
        return guess
    part = fitting[0]
    others = " and ".join(other for other in _COMPANY.get(part, ()) if other in met[part])
    reason = f"it follows {before}" if follows else f"{others} are there"
    why = f"{guess.why}; taken for {part}, as {reason}"
    return replace(guess, part=part, candidates=(), confidence=GUESSED, why=why)
