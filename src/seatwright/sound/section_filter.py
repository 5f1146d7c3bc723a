"""Second-order sections run as matrix products, many times as fast as sample by sample.

A block of 32 samples of the output is a sum of what its own input gives, a product with a
triangular matrix, and of how the state before it rings on, a product with another. States are
found the same way: within a group of 16 blocks by a product, from group to group by a recursion.
Nothing is cut off: the result is that of the recursion itself, rounded to float32.

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
import scipy.linalg
import scipy.signal
from numpy.typing import NDArray

_BLOCK, _GROUP, _GROUPS = 32, 16, 8
UNIT = _BLOCK * _GROUP * _GROUPS
"""Frames that are filtered at a time: products stay so small that no BLAS starts threads of its
own for them, and as all have one shape, no bit depends on how a signal is cut."""

_ONE = np.ones(1)

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
        size = self._parts.order
        self._past = np.zeros((channels, size - 1, size))
        self._state = np.zeros((channels, size, size))
        self._start = np.zeros((channels, 1, size))

    def filtered(self, signal: Matrix, out: Matrix) -> None:
        """Filter the next frames.

        Parameters
        ----------
        signal : ndarray, shape (channels, frames)
            A whole number of `UNIT`; contiguous.
        out : ndarray, shape (channels, frames)
            Filled; each channel contiguous.
        """
        parts, channels = self._parts, len(signal)
        blocks = signal.reshape(channels, -1, _GROUP * _GROUPS, _BLOCK)
        own = np.matmul(blocks, parts.own, out=out.reshape(blocks.shape))
        left = (blocks @ parts.leaving).reshape(channels, -1, _GROUPS, _GROUP * parts.order)
        within: Any = left @ parts.within
        starts = self._starts(within[..., -parts.order :].reshape(channels, -1, parts.order))
        states = starts.reshape(*within.shape[:-1], parts.order) @ parts.carried
        states += within[..., : -parts.order]
        own += states.reshape(*blocks.shape[:-1], parts.order) @ parts.ringing

    def _starts(self, ends: Matrix) -> Matrix:
        """State at the start of each group from what each group alone leaves at its end.

        A recursion of vectors, s' = P s + e, is one of numbers: by Cayley and Hamilton the
        characteristic polynomial of P rules each component, and its adjugate mixes the inputs.
        """
        size, groups = self._parts.order, ends.shape[1]
        inputs = np.concatenate([self._past, ends], axis=1)
        recent = np.concatenate([inputs[:, lag : lag + groups] for lag in range(size)], axis=2)
        mixed = recent.reshape(len(ends), -1, _GROUPS, size * size) @ self._parts.mixing
        states, self._state = scipy.signal.lfilter(
            _ONE, self._parts.polynomial, mixed.reshape(ends.shape), axis=1, zi=self._state
        )
        starts = np.concatenate([self._start, states[:, :-1]], axis=1, dtype=np.float32)
        self._past, self._start = inputs[:, groups:], states[:, -1:]
        return np.asarray(starts)


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
    within : ndarray, shape (16 order, 17 order)
        From what each block leaves, the states before the blocks of a group and behind it.
    carried : ndarray, shape (order, 16 order)
        The state before a group at each of its blocks.
    ringing : ndarray, shape (order, 32)
    mixing : ndarray, shape (order order, order)
        Of what as many groups leave, the earliest first.
    polynomial : ndarray, shape (order + 1,)
        Characteristic polynomial from group to group, highest power first.
    """

    order: int
    own: Matrix
    leaving: Matrix
    within: Matrix
    carried: Matrix
    ringing: Matrix
    mixing: Wide
    polynomial: Wide


@lru_cache(maxsize=16)
def _block_parts(sections: tuple[tuple[float, ...], ...]) -> _BlockParts:
    step, inward, outward, through = _state_space(sections)
    size = len(step)
    powers = _powers(step, _BLOCK)
    impulse = [through, *(float(outward @ power @ inward) for power in powers[: _BLOCK - 1])]
    blocks = _powers(powers[_BLOCK], _GROUP)
    mixing, polynomial = _as_numbers(blocks[_GROUP])
    return _BlockParts(
        order=size,
        own=_single(scipy.linalg.toeplitz(np.r_[impulse[0], np.zeros(_BLOCK - 1)], impulse)),
        leaving=_single(np.stack([power @ inward for power in powers[_BLOCK - 1 :: -1]])),
        within=_single(_within(blocks)),
        carried=_single(np.concatenate([power.T for power in blocks[:_GROUP]], axis=1)),
        ringing=_single(np.stack([outward @ power for power in powers[:_BLOCK]], axis=1)),
        mixing=mixing,
        polynomial=polynomial,
    )


def _powers(step: Wide, highest: int) -> list[Wide]:
    """Powers of a matrix, 0 to the highest."""
    powers = [np.eye(len(step))]
    for _ in range(highest):
        powers.append(step @ powers[-1])
    return powers


def _within(blocks: list[Wide]) -> Wide:
    """What each block's leaving is at every later one: powers of the step by a block."""
    size = len(blocks[0])
    within = np.zeros((_GROUP, size, _GROUP + 1, size))
    for place in range(_GROUP):
        for later in range(place + 1, _GROUP + 1):
            within[place, :, later] = blocks[later - 1 - place].T
    return within.reshape(_GROUP * size, -1)


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
    spread = np.linalg.cholesky(
        scipy.linalg.solve_discrete_lyapunov(step, np.outer(inward, inward), method="direct")
    )
    turned = np.linalg.solve(spread, np.column_stack([step @ spread, inward]))
    return np.asarray(turned[:, :-1]), np.asarray(turned[:, -1]), np.asarray(outward @ spread)


def _as_numbers(step: Wide) -> tuple[Wide, Any]:
    """Adjugate matrices and characteristic polynomial of a state matrix (Faddeev, Le Verrier)."""
    size = len(step)
    matrices, polynomial = [np.eye(size)], [1.0]
    for power in range(1, size + 1):
        product = step @ matrices[-1]
        polynomial.append(-float(np.trace(product)) / power)
        matrices.append(product + polynomial[-1] * np.eye(size))
    mixing = np.concatenate([matrix.T for matrix in matrices[size - 1 :: -1]])
    return mixing, np.array(polynomial)
