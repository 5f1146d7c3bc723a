"""The octave powers of what plays at each seat, all its stems added up on the scene's time line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.casting import Cast
from seatwright.disk.feeds import SeatStem
from seatwright.sound.inspection import StemInspection
from seatwright.sound.octave_steps import OCTAVES, STEP_SECONDS, OctaveSteps


def seat_octaves(cast: Cast, stems: Sequence[StemInspection]) -> dict[str, OctaveSteps]:
    """Octave powers of every seat.

    Parameters
    ----------
    cast : Cast
    stems : sequence of StemInspection
        Every file of the cast, with its octaves.

    Returns
    -------
    dict of str to OctaveSteps
        All of one length. Stems of one seat are taken as unrelated, and so are a left and a right
        file, whose phases are not compared.
    """
    octaves = {s.file: s.sound.octaves for s in stems if s.sound.octaves is not None}
    seconds = cast.frames / cast.rate
    steps = int(np.ceil(seconds / STEP_SECONDS)) + 1
    return {
        name: _summed(playing, octaves, cast.channels(name), cast.rate, steps)
        for name, playing in cast.seats.items()
    }


def _summed(
    playing: Sequence[SeatStem],
    octaves: Mapping[str, OctaveSteps],
    channels: int,
    rate: int,
    steps: int,
) -> OctaveSteps:
    powers = np.zeros((channels, len(OCTAVES), steps), dtype=np.float32)
    cross = np.zeros(len(OCTAVES), dtype=np.complex128)
    for each in playing:
        own, shared = _one(each, octaves, channels)
        first = round(each.offset / rate / STEP_SECONDS)
        kept = own[:, :, : steps - first]
        powers[:, :, first : first + kept.shape[2]] += kept
        cross += shared
    return OctaveSteps(powers, cross)


def _one(
    stem: SeatStem, octaves: Mapping[str, OctaveSteps], channels: int
) -> tuple[NDArray[np.float32], NDArray[np.complex128]]:
    """Powers of a stem's channels, and what they share; mono on a stereo seat goes to both."""
    found = [octaves[str(one.path)] for one in stem.stems]
    powers = np.concatenate([each.powers for each in found])
    if len(powers) == channels:
        return powers, found[0].cross if len(found) == 1 else np.zeros(len(OCTAVES), complex)
    half = powers * np.float32(0.5)
    return np.repeat(half, channels, axis=0), half[0].sum(axis=1).astype(np.complex128)
