"""The diffuse tail: decaying Gaussian noise per octave band, as alike between microphones as in a
diffuse field.

Conventions: t is the time since the source sounded. An omni at rest in the tail hears, per
second and of a source that gives 1 at 1 m, the energy

    4 pi c / V * exp(-13.8155 t / T) * share(t)

with share = 1 - f(t) (1 - s)^(c t S / 4 V): what scattering and the fading f of the images took
from them, 1 from the mixing time on. The highest octaves are split into strips (`strips.py`),
each with its own T. Every strip is made on a time grid of its own, as slow as its bandwidth
allows, and all are put together in one spectrum.

Source
------
M. Barron, L.-J. Lee, "Energy relations in concert auditoriums. I", JASA 84 (1988) 618-628 (level
from the time of emission on); H. Kuttruff, "Room Acoustics" (density of images 4 pi c / V).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import pi

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.band_weights import (
    LOWEST,
    edge_weight,
    noise_edges,
    strip_bounds,
    strip_widths,
    top_weight,
)
from seatwright.acoustics.room import DECAY, Room
from seatwright.acoustics.strips import STRIPS, strip_edges, strip_level, strip_times
from seatwright.stage.bands import Bands

SILENT_DB = 110.0
"""A band's noise ends where it has fallen by this much."""

FADED_PART = 0.2
"""Of the mixing time, over which images give way to the tail."""


@dataclass(frozen=True)
class StripGrid:
    """The bins one strip of an octave band owns and the time grid its noise is drawn on.

    Parameters
    ----------
    band : int
        Index into `OCTAVE_BANDS`.
    strip : int
        Of the band's strips.
    first : int
        Lowest bin.
    bins : int
    steps : int
        Points of the time grid over the whole length; at least `bins`.
    weight : ndarray, shape (bins,)
        Amplitude over the bins.
    """

    band: int
    strip: int
    first: int
    bins: int
    steps: int
    weight: NDArray[np.float32]


@lru_cache(maxsize=16)
def strip_grids(rate: int, length: int, edges: Bands) -> tuple[StripGrid, ...]:
    """Time and frequency grids of all strips below half the rate; `edges` from `noise_edges`."""
    grids: list[StripGrid] = []
    for band, strips in enumerate(STRIPS):
        for strip in range(strips):
            low, high = strip_bounds(band, strip, strips)
            low_width, high_width = strip_widths(band, strip, strips, edges)
            low = LOWEST / 2.0 if low == 0.0 else low * 2.0 ** (-low_width / 2.0)
            high = min(rate, high * 2.0 ** (high_width / 2.0))
            first = max(1, int(np.ceil(low * length / rate)))
            last = min((length - 1) // 2, int(np.floor(high * length / rate)))
            if last < first:
                return tuple(grids)
            bins = last - first + 1
            frequency = np.arange(first, last + 1) * rate / length
            weight = edge_weight(frequency, band, edges, strip, strips)
            faded = (weight * top_weight(frequency, rate)).astype(np.float32)
            steps = scipy.fft.next_fast_len(bins)
            grids.append(StripGrid(band, strip, first, bins, steps, faded))
    return tuple(grids)


def room_grids(room: Room, rate: int, length: int) -> tuple[StripGrid, ...]:
    """The grids of a room's tail."""
    return strip_grids(rate, length, noise_edges(room.reverberation))


def tail_energy(
    room: Room, time: NDArray[np.float64], band: int, strip: int | None = None
) -> NDArray[np.float64]:
    """Diffuse energy per second at an omni in one octave band.

    Parameters
    ----------
    room : Room
    time : ndarray, any shape
        Seconds since the source sounded; before 0 there is none.
    band : int
        Index into `OCTAVE_BANDS`.
    strip : int, optional
        As if this strip filled the octave; else the mean over the octave's strips by their width.

    Returns
    -------
    ndarray, shape of `time`
        Of a source that gives 1 at 1 m.
    """
    if strip is None:
        parts = [tail_energy(room, time, band, each) for each in range(STRIPS[band])]
        return np.asarray(np.average(parts, axis=0, weights=np.diff(strip_edges(band))))
    level = 4.0 * pi * room.speed / room.volume * strip_level(room, band)
    late = np.maximum(time, 0.0)
    share = 1.0 - image_share(room, late, band) * (1.0 - scattered_share(room, late, band))
    energy = level * np.exp(-DECAY * late / strip_times(room, band)[strip]) * share
    return np.asarray(np.where(time < 0.0, 0.0, energy))


def hand_over(room: Room) -> NDArray[np.float64]:
    """Seconds from which the tail carries all energy of each octave, shape (9,).

    The mixing time; less, where it is not written, for an octave that has lost 10 dB before: its
    decay would be that of a few single images, and no longer the room's.
    """
    return np.minimum(room.mixing_time, room.handed_over * np.array(room.reverberation))


def image_share(
    room: Room, time: NDArray[np.float64], band: int | slice = slice(None)
) -> NDArray[np.float64]:
    """Share of their energy that images keep at times in seconds, in one band or in all.

    1 at first; it falls smoothly to 0 over the last fifth before the mixing time, so that the
    density of echoes has no step where the images end.
    """
    fading = (time / hand_over(room)[band] - 1.0) / FADED_PART + 1.0
    return np.asarray(np.cos(0.5 * np.pi * np.clip(fading, 0.0, 1.0)) ** 2)


def scattered_share(room: Room, time: NDArray[np.float64], band: int) -> NDArray[np.float64]:
    """Share of a band's energy that scattering has taken from the images by a time in seconds."""
    scattering = np.array(room.scattering)[:, band]
    per_metre = room.areas @ np.log(np.maximum(1.0 - scattering, 1e-12)) / (4.0 * room.volume)
    return np.asarray(-np.expm1(per_metre * room.speed * time))


def diffuse_spectra(
    room: Room,
    rate: int,
    length: int,
    origins: NDArray[np.float64],
    generators: list[np.random.Generator],
) -> NDArray[np.complex64]:
    """Spectra of independent diffuse tails.

    Parameters
    ----------
    room : Room
    rate : int
        Samples per second.
    length : int
        Frames of the tail, and of the real transform.
    origins : ndarray, shape (rows,)
        Time since emission at the first sample of each row, in seconds.
    generators : list of Generator
        One for each row; the same generator gives the same row whatever the other rows are.

    Returns
    -------
    ndarray of complex, shape (rows, length // 2 + 1)
        `irfft` gives the tails of omnis, each with `tail_energy` per second.
    """
    spectra = np.zeros((len(origins), length // 2 + 1), dtype=np.complex64)
    for grid in room_grids(room, rate, length):
        envelope = _envelope(room, rate, length, origins, grid)
        noise = np.zeros((len(origins), grid.steps), dtype=np.complex64)
        count = envelope.shape[1]
        for row, generator in enumerate(generators):
            drawn = generator.standard_normal(2 * count, dtype=np.float32).view(np.complex64)
            np.multiply(drawn, envelope[row], out=noise[row, :count])
        values = scipy.fft.fft(noise, axis=1, overwrite_x=True)[:, : grid.bins]
        spectra[:, grid.first : grid.first + grid.bins] += values * grid.weight
    return spectra


def _envelope(
    room: Room, rate: int, length: int, origins: NDArray[np.float64], grid: StripGrid
) -> NDArray[np.float32]:
    """Amplitude over a strip's time grid, up to where it is silent; shape (rows, count)."""
    begins, row_of = np.unique(origins, return_inverse=True)
    time = envelope_times(room, rate, length, grid) + begins[:, None]
    energy = tail_energy(room, time, grid.band, grid.strip)
    return np.asarray(noise_amplitude(energy, rate, length, grid.steps)[row_of])


def envelope_times(room: Room, rate: int, length: int, grid: StripGrid) -> NDArray[np.float64]:
    """Seconds from a tail's first sample to each point of a strip's grid until it is silent."""
    step = length / (grid.steps * rate)
    silent = strip_times(room, grid.band)[grid.strip] * SILENT_DB / 60.0
    # whatever the origins: one more draw here would be other noise in every higher strip
    count = min(grid.steps, max(1, int(np.ceil(silent / step))))
    return np.asarray(np.arange(count) * step, dtype=np.float64)


def noise_amplitude(
    energy: NDArray[np.float64], rate: int, length: int, steps: int
) -> NDArray[np.float32]:
    """What complex noise of variance 2 is scaled by to have an energy per second.

    Half the variance is in the real and half in the imaginary part; the coarse grid has length /
    steps times fewer points, each that much stronger; per sample, not per second.
    """
    return np.asarray(np.sqrt(energy * (length / steps) / (2.0 * rate)).astype(np.float32))


def mixed_as_diffuse(
    spectra: NDArray[np.complex64],
    matrices: NDArray[np.complex64],
    gains: NDArray[np.float32],
) -> None:
    """Make independent spectra as alike as a diffuse field makes them, in place.

    Parameters
    ----------
    spectra : ndarray of complex, shape (microphones, bins)
    matrices : ndarray of complex, shape (microphones, microphones, mixed bins)
        Lower triangular, for the lowest bins.
    gains : ndarray, shape (microphones,)
        For all other bins.
    """
    bins = matrices.shape[2]
    for row in reversed(range(len(spectra))):
        spectra[row, bins:] *= gains[row]
        mixed = matrices[row, row] * spectra[row, :bins]
        for other in range(row):
            mixed += matrices[row, other] * spectra[other, :bins]
        spectra[row, :bins] = mixed
