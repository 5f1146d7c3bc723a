"""What an output looks like: its long-term spectrum in third octaves and its level over time.

Conventions: dB relative to full scale, both channels' power added; bands after IEC 61260-1
(base ten), by the power of transforms of 4096 samples under a Hann window.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

WINDOW = 4096
STEP_SECONDS = 0.1
_SILENT_DB = -200.0


def third_octaves(rate: int) -> NDArray[np.float64]:
    """Mid-band frequencies in Hz from 25 Hz to below half the rate, shape (bands,)."""
    middles = 1000.0 * 10.0 ** (np.arange(-16, 14) / 10.0)
    return np.asarray(middles[middles * 10.0**0.05 <= 0.5 * rate])


@dataclass(frozen=True)
class Picture:
    """Spectrum and course of one output.

    Parameters
    ----------
    bands : ndarray, shape (bands,)
        Mid-band frequencies in Hz.
    spectrum_db : ndarray, shape (bands,)
        Mean power in each band.
    step : float
        Seconds between points of the course.
    course_db : ndarray, shape (points,)
        Mean power over each step.
    """

    bands: NDArray[np.float64]
    spectrum_db: NDArray[np.float64]
    step: float
    course_db: NDArray[np.float64]


class SpectrumMeter:
    """Takes in a signal piece by piece.

    Parameters
    ----------
    rate : int
        Samples per second.
    """

    def __init__(self, rate: int):
        self._rate = rate
        self._hop = max(1, round(STEP_SECONDS * rate))
        self._squares = np.zeros(WINDOW + 2)  # real and imaginary parts in turn
        self._windows = 0
        self._course: list[float] = []
        self._rest = np.zeros((0, 2), np.float32)
        self._fade = np.hanning(WINDOW + 1)[:-1].astype(np.float32)
        self._open, self._filled = 0.0, 0

    def add(self, piece: NDArray[np.float32]) -> None:
        """Take in the next samples, shape (frames, 2)."""
        self._add_course(piece)
        both = np.concatenate([self._rest, piece]) if len(self._rest) else piece
        whole = len(both) // WINDOW * WINDOW
        if whole:
            self._add_windows(both[:whole])
        self._rest = np.array(both[whole:], dtype=np.float32)

    def _add_windows(self, samples: NDArray[np.float32]) -> None:
        rows = (samples.T.reshape(2, -1, WINDOW) * self._fade).reshape(-1, WINDOW)
        parts = scipy.fft.rfft(rows, axis=1).view(np.float32)
        self._squares += np.einsum("wb,wb->b", parts, parts)
        self._windows += len(rows) // 2

    def _add_course(self, piece: NDArray[np.float32]) -> None:
        head = min(len(piece), self._hop - self._filled) if self._filled else 0
        whole = (len(piece) - head) // self._hop * self._hop
        self._add_part(piece[:head])
        steps = piece[head : head + whole].T.reshape(2, -1, self._hop)
        power = np.einsum("chf,chf->ch", steps, steps).sum(axis=0, dtype=np.float64)
        self._course += [float(step) / self._hop for step in power]
        self._add_part(piece[head + whole :])

    def _add_part(self, part: NDArray[np.float32]) -> None:
        """Take in at most what is missing of a step."""
        self._open += sum(float(np.einsum("f,f->", side, side)) for side in part.T)
        self._filled += len(part)
        if self._filled == self._hop:
            self._course.append(self._open / self._hop)
            self._open, self._filled = 0.0, 0

    @property
    def picture(self) -> Picture:
        """Of everything taken in."""
        bands = third_octaves(self._rate)
        scale = 2.0 / (WINDOW * float(np.sum(self._fade.astype(np.float64) ** 2)))
        density = self._squares.reshape(-1, 2).sum(axis=1) * scale / max(1, self._windows)
        total = np.concatenate([[0.0], np.cumsum(density)])
        edges = np.stack([bands * 10.0**-0.05, bands * 10.0**0.05])
        places = (edges / self._rate * WINDOW) + 0.5
        sums = np.diff(np.interp(places, np.arange(len(total)), total), axis=0)[0]
        course = self._course + ([self._open / self._filled] if self._filled else [])
        return Picture(bands, _decibels(sums), self._hop / self._rate, _decibels(np.array(course)))


def _decibels(power: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(10.0 * np.log10(np.maximum(power, 10.0 ** (_SILENT_DB / 10.0))))
