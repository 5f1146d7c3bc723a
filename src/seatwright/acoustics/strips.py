"""Strips of an octave: how the tail's decay bends inside the octaves that air empties unevenly.

Across the octave of 8 kHz the loss in air grows almost fourfold. One decay for all of it would
put a step into the spectrum of a late tail at every band edge (13 dB at 5.7 kHz, half a second
into a hall of 2 s). So the octaves of 4 and 8 kHz are split: decay follows the air at each
strip's own middle, and one factor for all strips of an octave keeps that octave's T30 what the
room predicts (left alone, the slowest strip would make T30 15 % longer at 8 kHz). The octave of
16 kHz stays whole: split, it bends so much that its T30 would follow the share of the direct
sound (2 to 4 % short).

Source
------
ISO 9613-1:1993 gives the loss as a smooth function of frequency, near a power law between 2 and
20 kHz; ISO 3382-1:2009 for T30.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.room import DECAY, Room
from seatwright.stage.bands import OCTAVE_BANDS

STRIPS = (1, 1, 1, 1, 1, 1, 3, 4, 1)
"""Strips of each octave band."""

_LEAST_RATE = 0.25
"""Of the octave's own decay: for rooms whose walls and air do not go together."""


def strip_edges(band: int) -> NDArray[np.float64]:
    """Edges of an octave's strips in Hz, shape (strips + 1,), equally wide in octaves."""
    count = STRIPS[band]
    return np.asarray(OCTAVE_BANDS[band] * 2.0 ** (np.arange(count + 1) / count - 0.5))


def air_between(room: Room, frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """Energy attenuation exponent of a room's air in 1/m: a power law from mid-band to mid-band.

    Parameters
    ----------
    room : Room
    frequency : ndarray
        Hz; above 16 kHz the law of the octave below goes on.

    Returns
    -------
    ndarray, shape of `frequency`
    """
    octave = np.log2(frequency / OCTAVE_BANDS[0])
    logs = np.log(np.maximum(np.array(room.air), 1e-12))
    last = len(logs) - 1
    beyond = np.maximum(octave - last, 0.0) * (logs[last] - logs[last - 1])
    return np.asarray(np.exp(np.interp(octave, np.arange(last + 1), logs) + beyond))


@lru_cache(maxsize=256)
def strip_times(room: Room, band: int) -> tuple[float, ...]:
    """Seconds in which each strip of an octave falls by 60 dB.

    Parameters
    ----------
    room : Room
    band : int
        Index into `OCTAVE_BANDS`.

    Returns
    -------
    tuple of float, shape (strips,)
        Together, each as wide as it is, they decay with the octave's T30 of `room.reverberation`.
    """
    time = room.reverberation[band]
    if STRIPS[band] == 1:
        return (time,)
    edges = strip_edges(band)
    loss = air_between(room, np.sqrt(edges[1:] * edges[:-1])) - room.air[band]
    rates = np.maximum(1.0 / time + room.speed * loss / DECAY, _LEAST_RATE / time)
    found = _mixed_t30(np.diff(edges), rates)
    return tuple(float(value) for value in time / found / rates)


@lru_cache(maxsize=256)
def strip_level(room: Room, band: int) -> float:
    """Energy per second at first, relative to one decay's, that keeps an octave's whole energy."""
    width = np.diff(strip_edges(band))
    mean = float(np.sum(width * np.array(strip_times(room, band))) / np.sum(width))
    return room.reverberation[band] / mean


def _mixed_t30(width: NDArray[np.float64], rates: NDArray[np.float64]) -> float:
    """T30 in seconds of decays with rates 1/T and a power of their width, by Schroeder's curve."""
    time = np.linspace(0.0, 0.6 / float(rates.min()), 2_000)
    left = (width / rates) @ np.exp(-DECAY * rates[:, None] * time)
    curve = 10.0 * np.log10(left / left[0])
    inside = (curve <= -5.0) & (curve > -35.0)
    return float(-60.0 / np.polyfit(time[inside], curve[inside], 1)[0])
