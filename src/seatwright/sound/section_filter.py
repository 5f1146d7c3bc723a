"""Second-order sections run as matrix products, many times as fast as sample by sample.

A block of 32 samples of the output is a sum of what its own input gives, a product with a
triangular matrix, and of how the state before it rings on, a product with another. States are
found the same way, over groups of 16 blocks and units of 8 groups; from unit to unit until less is
left than float32 holds. The result is that of the recursion itself, rounded to float32.

Conventions: signals are (channels, frames).

Source
------
C. S. Burrus, "Block realization of digital filters", IEEE Trans. Audio Electroacoustics 20 (1972)
230-235 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

_BLOCK, _GROUP, _GROUPS = 32, 16, 8
UNIT = _BLOCK * _GROUP * _GROUPS
"""Frames that are filtered at a time: products stay so small that no BLAS starts threads of its
own for them, and as all have one shape, no bit depends on how a signal is cut."""

_NOTHING_LEFT = 1e-9
_MOST_LAGS = 64

Matrix = NDArray[np.float32]
Wide = NDArray[np.float64]


class SectionFilter:
    """Filters a stream, beginning at rest.

    Parameters
    ----------
    sections : ndarray, shape (sections, 6)
        Coefficients b0, b1, b2, 1, a1, a2 of each.
    channels : int
    """

    def __init__(self, sections: Wide, channels: int):
        self._parts = _block_parts(tuple(map(tuple, sections.tolist())))
        self._past = np.zeros((channels, len(self._parts.fading), self._parts.order))

    def filtered(self, signal: Matrix, out: Matrix) -> None:
        """Filter the next frames.

        Parameters
        ----------
        signal : ndarray, shape (channels, frames)
            A whole number of `UNIT`; each channel contiguous.
        out : ndarray, shape (channels, frames)
            Filled; each channel contiguous.
        """
        parts, channels = self._parts, len(signal)
        blocks = signal.reshape(channels, -1, _GROUP * _GROUPS, _BLOCK)
        own = np.matmul(blocks, parts.own, out=out.reshape(blocks.shape))
        left = (blocks @ parts.leaving).reshape(channels, -1, _GROUPS, _GROUP * parts.order)
        states, ends = parts.of_blocks.from_rest(left)
        groups, ends = parts.of_groups.from_rest(
            ends.reshape(channels, -1, 1, _GROUPS * parts.order)
        )
        groups += self._starts(ends[:, :, 0]) @ parts.of_groups.carried
        states += groups.reshape(*states.shape[:-1], parts.order) @ parts.of_blocks.carried
        own += states.reshape(*blocks.shape[:-1], parts.order) @ parts.ringing

    def _starts(self, ends: Matrix) -> Matrix:
        """State at the start of each unit from what units leave, shape (channels, units, 1, order).

        Sums in one order whatever the number of units.
        """
        inputs = np.concatenate([self._past, ends], axis=1)
        lags, units = len(self._parts.fading), ends.shape[1]
        starts = np.zeros(ends.shape)
        for lag, matrix in enumerate(self._parts.fading, start=1):
            before = inputs[:, lags - lag : lags - lag + units]
            starts += (before[..., None] * matrix).sum(axis=2)
        self._past = inputs[:, units:]
        return starts.astype(np.float32)[:, :, None]


@dataclass(frozen=True, eq=False)
class _BlockParts:
    """Matrices of a filter; rows are applied from the left, as in `x @ own`.

    Parameters
    ----------
    order : int
        Numbers in a state.
    own : ndarray, shape (32, 32)
        What a block's input gives.
    leaving : ndarray, shape (32, order)
        What it leaves in the state behind it.
    of_blocks, of_groups : _Joined
        Blocks to groups, and groups to units.
    ringing : ndarray, shape (order, 32)
    fading : ndarray, shape (lags, order, order)
        What a unit leaves, one unit on, two, and so on until it is less than float32 holds.
    """

    order: int
    own: Matrix
    leaving: Matrix
    of_blocks: _Joined
    of_groups: _Joined
    ringing: Matrix
    fading: Wide


@dataclass(frozen=True, eq=False)
class _Joined:
    """States of pieces that follow each other.

    Parameters
    ----------
    within : ndarray, shape (pieces order, (pieces + 1) order)
        From what each piece leaves, the states before the pieces and behind the last.
    carried : ndarray, shape (order, pieces order)
        The state before the first at each of them.
    """

    within: Matrix
    carried: Matrix

    def from_rest(self, left: Matrix) -> tuple[Any, Any]:
        """States before each piece and behind the last, with nothing before the first."""
        states = left @ self.within
        pieces = self.carried.shape[1]
        return states[..., :pieces], states[..., pieces:]


@lru_cache(maxsize=16)
def _block_parts(sections: tuple[tuple[float, ...], ...]) -> _BlockParts:
    step, inward, outward, through = _state_space(sections)
    powers = _powers(step, _BLOCK)
    impulse = [through, *(float(outward @ power @ inward) for power in powers[: _BLOCK - 1])]
    own = np.zeros((_BLOCK, _BLOCK))
    for place in range(_BLOCK):
        own[place, place:] = impulse[: _BLOCK - place]
    group = np.linalg.matrix_power(powers[_BLOCK], _GROUP)
    return _BlockParts(
        order=len(step),
        own=_single(own),
        leaving=_single(np.stack([power @ inward for power in powers[_BLOCK - 1 :: -1]])),
        of_blocks=_joined(powers[_BLOCK], _GROUP),
        of_groups=_joined(group, _GROUPS),
        ringing=_single(np.stack([outward @ power for power in powers[:_BLOCK]], axis=1)),
        fading=_fading(np.linalg.matrix_power(group, _GROUPS)),
    )


def _joined(step: Wide, pieces: int) -> _Joined:
    size, powers = len(step), _powers(step, pieces)
    within = np.zeros((pieces, size, pieces + 1, size))
    for place in range(pieces):
        for later in range(place + 1, pieces + 1):
            within[place, :, later] = powers[later - 1 - place].T
    carried = np.concatenate([power.T for power in powers[:pieces]], axis=1)
    return _Joined(_single(within.reshape(pieces * size, -1)), _single(carried))


def _fading(step: Wide) -> Wide:
    """Powers of a step from the first that is 1, transposed, until nothing is left."""
    powers = [np.eye(len(step))]
    while np.abs(powers[-1]).max() > _NOTHING_LEFT and len(powers) < _MOST_LAGS:
        powers.append(step @ powers[-1])
    return np.stack([power.T for power in powers])


def _powers(step: Wide, highest: int) -> list[Wide]:
    """Powers of a matrix, 0 to the highest."""
    powers = [np.eye(len(step))]
    for _ in range(highest):
        powers.append(step @ powers[-1])
    return powers


def _single(matrix: Wide) -> Matrix:
    return np.ascontiguousarray(matrix, dtype=np.float32)


def _state_space(
    sections: tuple[tuple[float, ...], ...],
) -> tuple[Wide, Wide, Wide, float]:
    """State matrix, input, output and straight gain of sections one after the other.

    Each section keeps what it has divided by its denominator, one and two samples ago.
    """
    size = 2 * len(sections)
    step, inward, outward, through = np.zeros((size, size)), np.zeros(size), np.zeros(size), 1.0
    for number, (b0, b1, b2, _, a1, a2) in enumerate(sections):
        first = 2 * number
        step[first] = outward
        step[first, first : first + 2] = -a1, -a2
        step[first + 1, first] = 1.0
        inward[first] = through
        outward = b0 * outward
        outward[first : first + 2] = b1 - b0 * a1, b2 - b0 * a2
        through *= b0
    return (*_balanced(step, inward, outward), through)


def _balanced(step: Wide, inward: Wide, outward: Wide) -> tuple[Wide, Wide, Wide]:
    """The same filter with states that noise makes equally strong and unlike: they may be rounded.

    Two samples in a row of a low tone are nearly equal, and what matters is their difference.
    """
    size = len(step)
    noise = np.outer(inward, inward).ravel()
    spread = np.linalg.solve(np.eye(size * size) - np.kron(step, step), noise)
    spread = np.linalg.cholesky(spread.reshape(size, size))
    turned = np.linalg.solve(spread, np.column_stack([step @ spread, inward]))
    return np.asarray(turned[:, :-1]), np.asarray(turned[:, -1]), np.asarray(outward @ spread)
