"""A diffuse sound field at several microphones: how alike they hear it.

For two first-order microphones a + (1 - a) u.n at a distance d apart the mean over all directions
u of their product with exp(i k d.u) has a closed form in spherical Bessel functions; for two omnis
it is sin(k d) / (k d).

Source
------
R. K. Cook et al., "Measurement of correlation coefficients in reverberant sound fields", JASA 27
(1955) 1072-1077; G. W. Elko, "Spatial coherence functions for differential microphones in
isotropic noise fields", in "Microphone Arrays" (2001).
"""

from __future__ import annotations

from functools import lru_cache
from math import inf, pi

import numpy as np
from numpy.typing import NDArray

from seatwright.stage.microphones import Microphone

_NEGLIGIBLE = 0.02
"""Coherence 1 / (k d) below which microphones are taken as independent."""

_BINS_AT_ONCE = 8192
"""Bins mixed together; pairs in one place need all bins, which would take a lot of memory."""

_JITTER = 1e-7
"""Share of independent noise that keeps coincident microphones' matrices positive definite."""


def cross_power(
    first: Microphone, second: Microphone, wavenumber: NDArray[np.float64]
) -> NDArray[np.complex128]:
    """Cross power of two microphones in a diffuse field that gives an omni a power of 1.

    Parameters
    ----------
    first, second : Microphone
    wavenumber : ndarray, shape (bins,)
        k = 2 pi f / c in 1/m.

    Returns
    -------
    ndarray of complex, shape (bins,)
        For first = second the power a^2 + (1 - a)^2 / 3.
    """
    apart = np.array(second.position) - np.array(first.position)
    distance = float(np.linalg.norm(apart))
    axis = apart / distance if distance > 0.0 else np.array([0.0, 0.0, 1.0])
    j0, j1, j1_x, j2 = _bessel(wavenumber * distance)
    a1, a2 = first.omni_share, second.omni_share
    n1, n2 = np.array(first.aim), np.array(second.aim)
    b1, b2 = 1.0 - a1, 1.0 - a2
    along1, along2 = float(n1 @ axis), float(n2 @ axis)
    even = a1 * a2 * j0 + b1 * b2 * (float(n1 @ n2) * j1_x - along1 * along2 * j2)
    odd = (a1 * b2 * along2 + a2 * b1 * along1) * j1
    return np.asarray(even + 1j * odd)


def _bessel(x: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    """Spherical Bessel functions j0, j1, j1 / x and j2 for x >= 0.

    Close to 0 the closed forms lose digits that the mixing of microphones in one place needs, so
    the series takes over there: both are right to 1e-12.
    """
    near, square = x < 0.05, x * x
    above = np.maximum(x, 1e-6)
    j0 = np.sin(above) / above
    closed = (j0 - np.cos(x)) / above**2
    series = 1.0 / 3.0 - square / 30.0 + square**2 / 840.0 - square**3 / 45360.0
    j1_x = np.where(near, series, closed)
    series = square / 15.0 - square**2 / 210.0 + square**3 / 7560.0
    j2 = np.where(near, series, 3.0 * j1_x - j0)
    return j0, x * j1_x, j1_x, j2


@lru_cache(maxsize=16)
def diffuse_mixing(
    microphones: tuple[Microphone, ...], rate: int, length: int, speed: float
) -> tuple[NDArray[np.complex64], NDArray[np.float32]]:
    """What turns independent noise into what microphones hear of a diffuse field.

    Parameters
    ----------
    microphones : tuple of Microphone
    rate : int
        Samples per second.
    length : int
        Of the real transform whose bins are mixed.
    speed : float
        m/s.

    Returns
    -------
    matrices : ndarray of complex, shape (microphones, microphones, bins)
        Lower triangular, from 0 Hz to where the microphones become independent.
    gains : ndarray, shape (microphones,)
        Amplitude of each microphone alone, for all higher bins.
    """
    count = len(microphones)
    bins = min(length // 2 + 1, 1 + int(_independent_from(microphones, speed) * length / rate))
    wavenumber = 2.0 * pi * np.arange(bins) * rate / length / speed
    alone = np.sqrt(np.real(np.diagonal(_powers(microphones, wavenumber[:1])[0])))
    matrices = np.empty((count, count, bins), dtype=np.complex64)
    for first in range(0, bins, _BINS_AT_ONCE):
        part = slice(first, first + _BINS_AT_ONCE)
        power = _powers(microphones, wavenumber[part])
        power[:, np.arange(count), np.arange(count)] *= 1.0 + _JITTER
        matrices[:, :, part] = np.linalg.cholesky(power).transpose(1, 2, 0)
    return matrices, alone.astype(np.float32)


def _powers(
    microphones: tuple[Microphone, ...], wavenumber: NDArray[np.float64]
) -> NDArray[np.complex128]:
    """Cross powers of all pairs, shape (bins, microphones, microphones); upper half left 0."""
    count = len(microphones)
    power = np.zeros((len(wavenumber), count, count), dtype=complex)
    for i, first in enumerate(microphones):
        for j, second in enumerate(microphones[: i + 1]):
            power[:, i, j] = np.conj(cross_power(first, second, wavenumber))
    return power


def _independent_from(microphones: tuple[Microphone, ...], speed: float) -> float:
    """Hz above which no two of the microphones hear alike."""
    places = np.array([microphone.position for microphone in microphones])
    gaps = np.linalg.norm(places[:, None] - places, axis=2)[np.triu_indices(len(places), 1)]
    nearest = float(gaps.min(initial=inf))
    return speed / (2.0 * pi * _NEGLIGIBLE * max(nearest, 1e-3)) if nearest < inf else 0.0
