"""A listener's head: what each ear hears of a wave from a direction.

Here the head is a rigid sphere with an ear on either side; `measured_head` holds measured ones.
Each response is kept as a delay and a short filter, so that directions can be interpolated without
comb filtering.

Source
------
R. O. Duda, W. L. Martens, "Range dependence of the response of a spherical head model", JASA 104
(1998) 3048-3058 (distant source); R. S. Woodworth, "Experimental Psychology" (1938) (delay).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import pi
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from seatwright.acoustics.band_weights import transform_frequencies
from seatwright.stage.microphones import Ears

RADIUS = 0.0875
"""Metres."""

FILTER_TAPS = 192
LEAD = 32
"""Taps of a filter before its delay's instant."""

_ANGLE_STEP = 2.5
_MODES_BEYOND = 12


def sphere_response(
    frequency: NDArray[np.float64],
    angle: float | NDArray[np.float64],
    speed: float,
    radius: float = RADIUS,
) -> NDArray[np.complex128]:
    """Pressure on a rigid sphere under a plane wave, relative to the free field at its centre.

    H = -j / (k a)^2 sum over m of j^m (2 m + 1) P_m(cos angle) / h'_m(k a), with the spherical
    Hankel function of the second kind for exp(+j w t).

    Parameters
    ----------
    frequency : ndarray, shape (bins,)
        Hz; at 0 the response is 1.
    angle : float or ndarray
        Radians between the ear and the direction of incidence.
    speed : float
        Speed of sound in m/s.
    radius : float
        a in metres.

    Returns
    -------
    ndarray of complex, shape of `angle` and (bins,)
    """
    ka = 2.0 * pi * np.maximum(frequency, 1e-3) * radius / speed
    orders = np.arange(int(ka.max()) + _MODES_BEYOND)
    x = ka[:, None]
    with np.errstate(over="ignore", invalid="ignore"):
        slope = spherical_jn(orders, x, derivative=True) - 1j * spherical_yn(
            orders, x, derivative=True
        )
    slope = np.where(np.isfinite(slope), slope, np.inf)
    weights = 1j**orders * (2 * orders + 1) / slope
    directions = eval_legendre(orders, np.cos(np.asarray(angle, dtype=float))[..., None])
    response = -1j / ka**2 * (directions @ weights.T)
    return np.asarray(np.where(frequency <= 0.0, 1.0, response))


def ear_delay(angle: NDArray[np.float64], speed: float) -> NDArray[np.float64]:
    """Seconds by which an ear hears a wave after the head's centre would (Woodworth).

    Parameters
    ----------
    angle : ndarray
        Radians between the ear and the direction of incidence, 0 to pi.
    speed : float
        m/s.

    Returns
    -------
    ndarray, shape of `angle`
        -a/c cos(angle) on the near side, a/c (angle - pi/2) in the shadow.
    """
    near = -np.cos(angle)
    return np.asarray(RADIUS / speed * np.where(angle < pi / 2, near, angle - pi / 2))


@dataclass(frozen=True)
class HeadFilters:
    """Filters of one ear over the angle of incidence.

    Parameters
    ----------
    rate : int
        Samples per second.
    speed : float
        m/s.
    angles : ndarray, shape (angles,)
        Radians, rising from 0 to pi.
    filters : ndarray, shape (angles, taps)
        Without the delay of `ear_delay`; tap `LEAD` stands at that delay.
    """

    rate: int
    speed: float
    angles: NDArray[np.float64]
    filters: NDArray[np.float64]

    def at(self, angle: NDArray[np.float64]) -> NDArray[np.float64]:
        """Interpolated filters, shape (len(angle), taps)."""
        place = angle / self.angles[-1] * (len(self.angles) - 1)
        lower = np.clip(place.astype(int), 0, len(self.angles) - 2)
        part = (place - lower)[:, None]
        return np.asarray((1.0 - part) * self.filters[lower] + part * self.filters[lower + 1])


@lru_cache(maxsize=8)
def head_filters(rate: int, speed: float) -> HeadFilters:
    """The rigid sphere's filters at a rate in samples per second."""
    angles = np.radians(np.arange(0.0, 180.0 + _ANGLE_STEP / 2, _ANGLE_STEP))
    length = 2 * FILTER_TAPS
    frequency = transform_frequencies(length, rate)
    audible = np.clip((0.5 * rate - frequency) / (0.08 * rate), 0.0, 1.0)
    delays = ear_delay(angles, speed)
    fade = np.ones(FILTER_TAPS)
    fade[-LEAD:] = np.cos(np.linspace(0.0, pi / 2, LEAD)) ** 2
    fade[: LEAD // 2] = np.sin(np.linspace(0.0, pi / 2, LEAD // 2)) ** 2
    shift = np.exp(2j * pi * frequency * (delays[:, None] - LEAD / rate))
    responses = sphere_response(frequency, angles, speed) * audible * shift
    filters = np.fft.irfft(responses, length, axis=1)[:, :FILTER_TAPS] * fade
    return HeadFilters(rate, speed, angles, filters)


def ear_axes(ears: Ears) -> NDArray[np.float64]:
    """Unit vectors out of the left and the right ear, shape (2, 3)."""
    x, y, _ = ears.facing
    right = np.array([y, -x, 0.0])
    return np.stack([-right, right])


def incidence(directions: NDArray[np.float64], axis: NDArray[np.float64]) -> NDArray[np.float64]:
    """Radians between an ear's axis and directions of shape (.., 3)."""
    return np.asarray(np.arccos(np.clip(directions @ axis, -1.0, 1.0)))


class HeadModel(Protocol):
    """What each ear hears of plane waves.

    Directions are unit vectors in the head's frame, shape (n, 3): x ahead, y to the left, z up.
    """

    @property
    def name(self) -> str:
        """What it is."""

    @property
    def credit(self) -> str:
        """Whose it is; "" where there is nobody to name."""

    def lead(self, rate: int) -> int:
        """Taps of a filter before its delay's instant."""

    def delays(self, directions: NDArray[np.float64], speed: float) -> NDArray[np.float64]:
        """Seconds by which each ear hears after the head's centre would, shape (n, 2)."""

    def filters(
        self, directions: NDArray[np.float64], rate: int, speed: float
    ) -> NDArray[np.floating[Any]]:
        """Filters of both ears without their delays, shape (n, 2, taps)."""

    def mixing(
        self, rate: int, length: int, speed: float
    ) -> tuple[NDArray[np.complex64], NDArray[np.float32]]:
        """As `head_mixing`."""


@dataclass(frozen=True)
class RigidSphere:
    """The head as a rigid sphere with opposite ears."""

    name = "rigid sphere"
    credit = "R. O. Duda, W. L. Martens, JASA 104 (1998) 3048-3058"

    def lead(self, rate: int) -> int:
        """Taps of a filter before its delay's instant."""
        return LEAD

    def delays(self, directions: NDArray[np.float64], speed: float) -> NDArray[np.float64]:
        """Woodworth's, shape (n, 2)."""
        return np.stack([ear_delay(incidence(directions, ear), speed) for ear in _EARS], axis=1)

    def filters(
        self, directions: NDArray[np.float64], rate: int, speed: float
    ) -> NDArray[np.floating[Any]]:
        """Of Duda and Martens' sphere, shape (n, 2, taps)."""
        bank = head_filters(rate, speed)
        return np.stack([bank.at(incidence(directions, ear)) for ear in _EARS], axis=1)

    def mixing(
        self, rate: int, length: int, speed: float
    ) -> tuple[NDArray[np.complex64], NDArray[np.float32]]:
        """As `head_mixing`."""
        return head_mixing(rate, length, speed)


SPHERE = RigidSphere()
_EARS = (np.array([0.0, 1.0, 0.0]), np.array([0.0, -1.0, 0.0]))


def in_head_frame(directions: NDArray[np.float64], ears: Ears) -> NDArray[np.float64]:
    """Directions of the scene's frame, shape (n, 3), as the head sees them: ahead, left, up."""
    left, _ = ear_axes(ears)
    up = np.array([0.0, 0.0, 1.0])
    return np.asarray(directions @ np.stack([np.array(ears.facing), left, up], axis=1))


@lru_cache(maxsize=8)
def head_mixing(
    rate: int, length: int, speed: float
) -> tuple[NDArray[np.complex64], NDArray[np.float32]]:
    """What turns independent noise into what two ears hear of a diffuse field.

    The cross power of the ears is the mean over all directions of their responses.

    Parameters
    ----------
    rate : int
        Samples per second.
    length : int
        Of the real transform whose bins are mixed.
    speed : float
        m/s.

    Returns
    -------
    matrices : ndarray of complex, shape (2, 2, length // 2 + 1)
        Lower triangular.
    gains : ndarray, shape (2,)
        Not used: every bin is mixed.
    """
    coarse = 4 * FILTER_TAPS
    frequency = transform_frequencies(coarse, rate)
    directions = _even_directions(800)
    bank = head_filters(rate, speed)
    responses = []
    for axis in (np.array([-1.0, 0.0, 0.0]), np.array([1.0, 0.0, 0.0])):
        angle = incidence(directions, axis)
        late = np.exp(-2j * pi * frequency * ear_delay(angle, speed)[:, None])
        responses.append(np.fft.rfft(bank.at(angle), coarse) * late)
    left, right = responses
    powers = (np.mean(np.abs(left) ** 2, axis=0), np.mean(np.abs(right) ** 2, axis=0))
    crossed = np.mean(right * np.conj(left), axis=0)
    return mixing_matrices(frequency, powers, crossed, length, rate)


def mixing_matrices(
    frequency: NDArray[np.float64],
    powers: tuple[NDArray[np.float64], NDArray[np.float64]],
    crossed: NDArray[np.complex128],
    length: int,
    rate: int,
) -> tuple[NDArray[np.complex64], NDArray[np.float32]]:
    """What turns independent noise into two ears' signals of given powers and cross power.

    Parameters
    ----------
    frequency : ndarray, shape (bins,)
        Hz.
    powers : tuple of ndarray, shape (bins,)
        Left and right.
    crossed : ndarray of complex, shape (bins,)
        Right times the conjugate of left.
    length : int
        Of the real transform whose bins are mixed.
    rate : int
        Samples per second.

    Returns
    -------
    As `head_mixing`.
    """
    power_left, power_right = (power + 1e-9 for power in powers)
    first = np.sqrt(power_left)
    alike = crossed / first
    apart = np.sqrt(np.maximum(power_right - np.abs(alike) ** 2, 0.0))
    fine = transform_frequencies(length, rate)
    matrices = np.zeros((2, 2, len(fine)), dtype=np.complex64)
    matrices[0, 0] = np.interp(fine, frequency, first)
    matrices[1, 0] = np.interp(fine, frequency, alike.real) + 1j * np.interp(
        fine, frequency, alike.imag
    )
    matrices[1, 1] = np.interp(fine, frequency, apart)
    return matrices, np.ones(2, dtype=np.float32)


def _even_directions(count: int) -> NDArray[np.float64]:
    """Directions spread evenly over the sphere (a spiral in the golden ratio), shape (count, 3)."""
    index = np.arange(count) + 0.5
    z = 1.0 - 2.0 * index / count
    turn = pi * (1.0 + 5.0**0.5) * index
    ground = np.sqrt(1.0 - z * z)
    return np.stack([ground * np.cos(turn), ground * np.sin(turn), z], axis=1)
