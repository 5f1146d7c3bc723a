"""Loops: a stretch of music that plays round and round, and what it sounds like in steady state.

A loop that has played for longer than a response is periodic, so is what a response makes of it:
the response is folded to the loop's length and convolved on a circle. Tails come round to the
beginning by themselves.

Conventions: loops are float32, shape (channels, frames); what is heard has two channels.

Source
------
A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", circular convolution.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Loop = NDArray[np.float32]


def loop_frames(wanted: int) -> int:
    """A length near the wanted one, at least it, whose transform is quick."""
    return int(scipy.fft.next_fast_len(max(2, wanted), real=True))


def closed_loop(music: Loop, frames: int) -> Loop:
    """Close a stretch of music to a loop without a click.

    Parameters
    ----------
    music : ndarray, shape (channels, frames + fade)
        The stretch and what follows it, which is crossed over into the beginning: at the seam
        the music goes on for a moment while it already begins again.
    frames : int
        Of the loop.

    Returns
    -------
    ndarray of float32, shape (channels, frames)
    """
    loop = music[:, :frames].copy()
    fade = music.shape[1] - frames
    rising = ((np.arange(fade) + 0.5) / max(1, fade)).astype(np.float32)
    loop[:, :fade] = rising * loop[:, :fade] + (1 - rising) * music[:, frames:]
    return loop


def heard_loop(loop: Loop, responses: NDArray[np.float32]) -> Loop:
    """What is heard of a loop through responses, once it has played for long.

    Parameters
    ----------
    loop : ndarray, shape (channels, frames)
    responses : ndarray, shape (channels, 2, taps)
        What each channel sends left and right; may be longer than the loop.

    Returns
    -------
    ndarray of float32, shape (2, frames)
    """
    frames = loop.shape[1]
    folded = np.stack([_folded(pair, frames) for pair in responses])
    return _convolved(loop, folded, frames)


def heard_stretch(loop: Loop, responses: NDArray[np.float32], first: int, frames: int) -> Loop:
    """A stretch of what `heard_loop` gives, without computing the rest.

    Parameters
    ----------
    loop : ndarray, shape (channels, loop frames)
    responses : ndarray, shape (channels, 2, taps)
    first : int
        Sample of the loop where it begins; it may go round the loop's end.
    frames : int

    Returns
    -------
    ndarray of float32, shape (2, frames)
    """
    before = responses.shape[2] - 1
    place = np.arange(first - before, first + frames) % loop.shape[1]
    length = scipy.fft.next_fast_len(before + frames, real=True)  # what wraps lies in what is cut
    return _convolved(loop[:, place], responses, length)[:, before : before + frames]


def _convolved(music: Loop, responses: NDArray[np.float32], length: int) -> Loop:
    """Circular convolution of some length, summed over the channels."""
    total: NDArray[np.complex64] | None = None
    for channel, pair in zip(music, responses, strict=True):
        turned = scipy.fft.rfft(pair, length, axis=1)
        turned *= scipy.fft.rfft(channel, length)
        total = turned if total is None else np.add(total, turned, out=total)
    return np.asarray(scipy.fft.irfft(total, n=length, axis=1, overwrite_x=True))


def stretch_of(loop: NDArray[Any], first: int, frames: int) -> NDArray[Any]:
    """Samples of a loop from a place on, round its end where they reach it; at most all."""
    frames = min(frames, loop.shape[1])
    end = loop[:, first : first + frames]
    return np.concatenate([end, loop[:, : frames - end.shape[1]]], axis=1)


def _folded(pair: NDArray[np.float32], frames: int) -> NDArray[np.float32]:
    """A response wound round the loop, shape (2, frames)."""
    wound = np.zeros((2, frames), dtype=np.float32)
    for first in range(0, pair.shape[1], frames):
        piece = pair[:, first : first + frames]
        wound[:, : piece.shape[1]] += piece
    return wound


class LoopSum:
    """The sum of all seats' loops, changed one at a time.

    Held in float64: after any number of changes it is the sum from nothing to within 1e-12.

    Parameters
    ----------
    frames : int
    """

    def __init__(self, frames: int):
        self._total = np.zeros((2, frames), dtype=np.float64)
        self._parts: dict[str, Loop] = {}

    def put(self, name: str, part: Loop | None) -> None:
        """Put a seat's loop in the place of its earlier one; None takes it out."""
        old = self._parts.pop(name, None)
        if old is not None:
            self._total -= old
        if part is not None:
            self._total += part
            self._parts[name] = part

    def stretch_with(self, name: str, part: Loop, first: int, gain: float) -> Loop:
        """A stretch of the sum times a gain, as it would be with another loop of one seat.

        Parameters
        ----------
        name : str
        part : ndarray, shape (2, frames)
            The stretch of that loop.
        first : int
            Sample at which it begins.
        gain : float
        """
        total = stretch_of(self._total, first, part.shape[1])
        old = self._parts.get(name)
        if old is not None:
            total -= stretch_of(old, first, part.shape[1])
        total += part
        return np.asarray(gain * total, dtype=np.float32)

    def part(self, name: str) -> Loop | None:
        """A seat's loop, as it was put."""
        return self._parts.get(name)

    @property
    def names(self) -> tuple[str, ...]:
        """Whose loops are in it."""
        return tuple(self._parts)

    @property
    def total(self) -> NDArray[np.float64]:
        """A copy, shape (2, frames)."""
        return self._total.copy()

    def scaled(self, gain: float) -> Loop:
        """The sum times a gain, as it is played."""
        return np.asarray(np.multiply(self._total, gain, dtype=np.float64), dtype=np.float32)

    def from_nothing(self) -> NDArray[np.float64]:
        """The sum of all parts anew, to check the other against."""
        total = np.zeros_like(self._total)
        for part in self._parts.values():
            total += part
        return total


SOUNDS_BELOW_PEAK_DB = 40.0
"""A seat sounds where it is at most so far below its own loudest look."""

SOUNDS_ABOVE_DB = -75.0
"""And louder than this, dB of full scale."""


def densest_stretch(levels: Sequence[NDArray[np.float64]], looks: int) -> int:
    """Where most seats sound.

    Parameters
    ----------
    levels : sequence of ndarray, shape (looks of the piece,)
        RMS of each seat, in dB of full scale, at evenly spaced instants; -inf for silence.
    looks : int
        How many of them a stretch spans.

    Returns
    -------
    int
        Look at which the densest stretch begins; the loudest of equally dense ones.
    """
    if not levels or len(levels[0]) <= looks:
        return 0
    table = np.stack(levels)
    peaks = table.max(axis=1, keepdims=True)
    sounding = (table > SOUNDS_ABOVE_DB) & (table >= peaks - SOUNDS_BELOW_PEAK_DB)
    window = np.ones(max(1, looks))
    density = np.convolve(sounding.sum(axis=0), window, mode="valid")
    energy = np.convolve((10.0 ** (table / 10.0)).sum(axis=0), window, mode="valid")
    densest = np.flatnonzero(density >= density.max() - 1e-9)
    return int(densest[np.argmax(energy[densest])])


def level_noise(frames: int, rate: int, rms: float, seed: int = 0) -> Loop:
    """Noise that falls by 3 dB an octave, for setting the level, as a loop without a seam.

    Parameters
    ----------
    frames : int
    rate : int
        Samples per second; nothing below 40 Hz.
    rms : float
        Of each channel; less where the peak would pass 0.5.
    seed : int

    Returns
    -------
    ndarray of float32, shape (2, frames)
        The two channels alike, so that it is heard in the middle.
    """
    rng = np.random.default_rng(seed)
    frequencies = np.fft.rfftfreq(frames, 1.0 / rate)
    shape = np.where(frequencies >= 40.0, 1.0 / np.sqrt(np.maximum(frequencies, 40.0)), 0.0)
    phases = rng.uniform(0.0, 2.0 * np.pi, len(frequencies))
    noise = np.fft.irfft(shape * np.exp(1j * phases), n=frames)
    gain = min(rms / float(np.sqrt(np.mean(noise**2))), 0.5 / float(np.abs(noise).max()))
    return np.tile((gain * noise).astype(np.float32), (2, 1))
