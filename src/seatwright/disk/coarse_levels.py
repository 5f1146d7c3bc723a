"""How loud stems are over time, from short samples of each: enough to see where they play."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.casting import Cast
from seatwright.disk.stem_reader import Decoder, Stem
from seatwright.sound.fullest_stretch import STEP_SECONDS, sounding_steps

_PROBE_SECONDS = 0.05
"""Read of every step: longer than a period of the lowest note."""


def coarse_powers(stem: Stem) -> NDArray[np.float64]:
    """Mean square of a stem at the middle of every step of half a second.

    Parameters
    ----------
    stem : Stem

    Returns
    -------
    ndarray of float64, shape (steps,)
        Of the first channels' 50 ms; a last step that is too short for that is left out.

    Raises
    ------
    StemError
        If the file cannot be decoded or is shorter than it was.
    """
    probe = min(max(1, round(_PROBE_SECONDS * stem.rate)), stem.frames)
    steps = int(stem.seconds / STEP_SECONDS) or 1
    powers = np.zeros(steps)
    decoder = Decoder(stem.path)
    try:
        for step in range(steps):
            middle = round((step + 0.5) * STEP_SECONDS * stem.rate)
            first = max(0, min(middle, stem.frames) - probe)
            powers[step] = np.square(decoder.read(first, probe), dtype=np.float64).mean()
    finally:
        decoder.close()
    return powers


def playing_steps(cast: Cast, seats: Iterable[str]) -> list[NDArray[np.bool_]]:
    """In which steps the stems of some seats play, on the scene's time line.

    Parameters
    ----------
    cast : Cast
    seats : iterable of str

    Returns
    -------
    list of ndarray of bool, shape (steps,)
        One a file.

    Raises
    ------
    StemError
        If a file cannot be decoded or is shorter than it was.
    """
    placed = {
        stem.path: seat_stem.offset
        for seat in seats
        for seat_stem in cast.seats[seat]
        for stem in seat_stem.stems
    }
    found = []
    for stem in (stem for stem in cast.stems if stem.path in placed):
        before = round(placed[stem.path] / cast.rate / STEP_SECONDS)
        found.append(np.concatenate([np.zeros(before, bool), sounding_steps(coarse_powers(stem))]))
    return found
