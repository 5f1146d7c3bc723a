"""Early reflections: the image sources of a shoebox, in closed form.

Conventions: positions in metres in the scene's frame; energy gains per octave band; the wall
order is that of `SURFACE_NAMES` (floor, ceiling, left, right, upstage, rear).

Source
------
J. B. Allen, D. A. Berkley, "Image method for efficiently simulating small-room acoustics",
JASA 65 (1979) 943-950.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.directivity import is_omni, radiation, recorded_gains
from seatwright.acoustics.room import Room
from seatwright.stage.seats import Position, Source

_LOW_HIGH_WALL = ((2, 3), (5, 4), (0, 1))
"""For x, y, z: index of the surface at the low and at the high end."""


@dataclass(frozen=True)
class Images:
    """Image sources of one source.

    Parameters
    ----------
    positions : ndarray, shape (images, 3)
        Metres.
    hits : ndarray of int, shape (images, 6)
        How often each surface was hit on the way.
    mirrored : ndarray of bool, shape (images, 3)
        Whether the image is mirrored along x, y, z.
    """

    positions: NDArray[np.float64]
    hits: NDArray[np.int64]
    mirrored: NDArray[np.bool_]

    @property
    def orders(self) -> NDArray[np.int64]:
        """Number of reflections, shape (images,)."""
        return np.asarray(self.hits.sum(axis=1))


def image_sources(
    room: Room, source: Position, reach: float, max_order: int | None = None
) -> Images:
    """Every image that can be nearer than `reach` to a point of the room.

    Along an axis of length L the images of a source at s lie at 2 n L + s (not mirrored, walls
    hit |n| times each) and at 2 n L - s (mirrored, low wall |n - 1| times, high wall |n| times).

    Parameters
    ----------
    room : Room
    source : tuple of float, shape (3,)
        Metres.
    reach : float
        Metres.
    max_order : int, optional
        Leave out images of more reflections.

    Returns
    -------
    Images
        Ordered by number of reflections, the source itself first.
    """
    axes = [
        _axis_images(length, position - low, reach, walls)
        for length, position, low, walls in zip(
            room.size, source, room.low_corner, _LOW_HIGH_WALL, strict=True
        )
    ]
    grids = np.meshgrid(*(np.arange(len(axis[0])) for axis in axes), indexing="ij")
    picks = [grid.ravel() for grid in grids]
    hits = np.sum([axis[1][pick] for axis, pick in zip(axes, picks, strict=True)], axis=0)
    positions = np.stack([axis[0][pick] for axis, pick in zip(axes, picks, strict=True)], axis=1)
    mirrored = np.stack([axis[2][pick] for axis, pick in zip(axes, picks, strict=True)], axis=1)
    orders = hits.sum(axis=1)
    order = np.argsort(orders, kind="stable")
    if max_order is not None:
        order = order[orders[order] <= max_order]
    return Images(positions[order] + np.array(room.low_corner), hits[order], mirrored[order])


def _axis_images(
    length: float, place: float, reach: float, walls: tuple[int, int]
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.bool_]]:
    """Images along one axis: coordinate from the low wall, hits of all six walls, mirrored."""
    count = int(np.ceil((reach + length) / (2.0 * length)))
    n = np.arange(-count, count + 1)
    coordinates = np.concatenate([2.0 * n * length + place, 2.0 * n * length - place])
    hits = np.zeros((2 * len(n), 6), dtype=np.int64)
    hits[: len(n), walls[0]] = np.abs(n)
    hits[: len(n), walls[1]] = np.abs(n)
    hits[len(n) :, walls[0]] = np.abs(n - 1)
    hits[len(n) :, walls[1]] = np.abs(n)
    mirrored = np.arange(2 * len(n)) >= len(n)
    near = (coordinates > -reach) & (coordinates < length + reach)
    return coordinates[near], hits[near], mirrored[near]


@dataclass(frozen=True)
class Arrivals:
    """What reaches one receiver from one source, image by image.

    Parameters
    ----------
    distances : ndarray, shape (arrivals,)
        Metres travelled; the direct sound first.
    directions : ndarray, shape (arrivals, 3)
        Unit vectors from the receiver towards the image.
    gains : ndarray, shape (arrivals, 9)
        Linear amplitude per octave band of a source that gives 1 at 1 m: spherical spreading,
        walls, scattering, air and the instrument's directivity; without the microphone.
    orders : ndarray of int, shape (arrivals,)
        Number of reflections.
    radiated : ndarray, shape (arrivals, 9), optional
        The share of `gains` that is the instrument's directivity, relative to the direction it was
        recorded from; None where it is 1 everywhere.
    """

    distances: NDArray[np.float64]
    directions: NDArray[np.float64]
    gains: NDArray[np.float64]
    orders: NDArray[np.int64]
    radiated: NDArray[np.float64] | None = None


def arrivals_at(
    room: Room, source: Source, images: Images, receiver: Position, reach: float
) -> Arrivals:
    """Direct sound and reflections at a receiver, up to `reach` metres of travel.

    The direct sound is always there, however far; each reflection carries per band the energy
    ((1 - a)(1 - s)) of every wall it hit, exp(-m d) of the air and 1 / d^2.

    Parameters
    ----------
    room : Room
    source : Source
    images : Images
        Of this source.
    receiver : tuple of float, shape (3,)
        Metres.
    reach : float
        Metres.

    Returns
    -------
    Arrivals
        In the order of `images`, so the direct sound first.
    """
    towards = images.positions - np.array(receiver)
    distances = np.sqrt(np.einsum("ij,ij->i", towards, towards))
    heard = distances <= reach
    heard[0] = True
    towards, distances = towards[heard], distances[heard]
    directions = towards / distances[:, None]
    left_source = np.where(images.mirrored[heard], directions, -directions)
    reflected = np.log1p(-np.array(room.absorption)) + _log_kept(np.array(room.scattering))
    exponent = images.hits[heard] @ reflected - distances[:, None] * np.array(room.air)
    gains = np.exp(0.5 * exponent) / distances[:, None]
    radiated = _radiated(source, left_source)
    if radiated is not None:
        gains *= radiated
    return Arrivals(distances, directions, gains, images.orders[heard], radiated)


def _radiated(source: Source, directions: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Directivity relative to the recorded direction; None for a source without any."""
    if is_omni(source.instrument):
        return None
    recorded = recorded_gains(source.instrument, source.facing)
    return np.asarray(radiation(source, directions) / np.array(recorded))


def _log_kept(scattering: NDArray[np.float64]) -> NDArray[np.float64]:
    """ln(1 - s), finite for a surface that scatters everything."""
    return np.log(np.maximum(1.0 - scattering, 1e-12))
