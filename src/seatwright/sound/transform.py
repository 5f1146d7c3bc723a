"""The engine's Fourier transform: long, real, float32, made of short ones that stay in cache.

A signal of rows * columns samples is laid out row by row. Its columns are transformed, every value
is turned by its twiddle factor, then its rows are transformed. Frequency k1 + rows * k2 of the
whole comes to stand at [k1, k2], an order in which spectra can be multiplied and summed just as
well; k1 ends at rows / 2, as the rest are complex conjugates. One signal at a time is as fast as
four in one call of scipy.fft over the whole length, takes a quarter of its memory, and any length
will do.

Source
------
W. M. Gentleman, G. Sande, "Fast Fourier transforms: for fun and profit", AFIPS Proc. 29 (1966);
D. H. Bailey, "FFTs in external or hierarchical memory", J. Supercomputing 4 (1990).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Spectrum = NDArray[np.complex64]


@dataclass(frozen=True)
class Transform:
    """A transform of one length.

    Parameters
    ----------
    rows : int
        Even.
    columns : int
    """

    rows: int
    columns: int

    @property
    def length(self) -> int:
        """Samples."""
        return self.rows * self.columns

    @property
    def shape(self) -> tuple[int, int]:
        """Of a spectrum."""
        return self.rows // 2 + 1, self.columns

    def forward(self, signal: NDArray[np.float32]) -> Spectrum:
        """Spectrum of a signal.

        Parameters
        ----------
        signal : ndarray of float32, shape (length,)
            Contiguous; left as it is.

        Returns
        -------
        ndarray of complex64, shape `shape`
            A new array.
        """
        spectrum: Spectrum = scipy.fft.rfft(signal.reshape(self.rows, self.columns), axis=0)
        spectrum *= _twiddles(self.rows, self.columns)
        return np.asarray(scipy.fft.fft(spectrum, axis=1, overwrite_x=True))

    def inverse(self, spectrum: Spectrum) -> NDArray[np.float32]:
        """Signal of a spectrum, which is used up.

        Parameters
        ----------
        spectrum : ndarray of complex64, shape `shape`

        Returns
        -------
        ndarray of float32, shape (length,)
            A new array.
        """
        turned = scipy.fft.ifft(spectrum, axis=1, overwrite_x=True)
        turned *= _conjugates(self.rows, self.columns)
        signal = scipy.fft.irfft(turned, n=self.rows, axis=0, overwrite_x=True)
        return np.asarray(signal.reshape(-1))


def transform_of(least: int) -> Transform:
    """The transform of at least so many samples.

    Rows and columns are about as many, both products of small primes. From 288 on, columns are a
    multiple of 32, so that rows begin where a line of the cache does, and no power of two, with
    which rows would push one another out of it.
    """
    rows = 3 * 2 ** max(1, round(np.log2(np.sqrt(max(least, 4)) / 3)))
    columns = -(-least // rows)
    if columns < 288:
        return Transform(rows, int(scipy.fft.next_fast_len(columns)))
    lines = next(n for n in _lines() if 32 * n >= columns)
    return Transform(rows, 32 * lines)


def _lines() -> Iterator[int]:
    """Numbers of two primes at most, none a power of two: 9, 10, 12, 14, 15, 18, 20, 24, 28, ..."""
    octave = 8
    while True:
        yield from (octave * n // 8 for n in (9, 10, 12, 14, 15))
        octave *= 2


@cache
def _twiddles(rows: int, columns: int) -> Spectrum:
    turns = np.outer(np.arange(rows // 2 + 1), np.arange(columns)) / (rows * columns)
    factors: Spectrum = np.exp(-2j * np.pi * turns).astype(np.complex64)
    factors.flags.writeable = False
    return factors


@cache
def _conjugates(rows: int, columns: int) -> Spectrum:
    factors: Spectrum = _twiddles(rows, columns).conj()
    factors.flags.writeable = False
    return factors
