"""Bradley-Terry strengths: one figure a version from many comparisons of two.

The probability that version i is put before j is 1 / (1 + exp(strength j - strength i)). R. A.
Bradley, M. E. Terry, "Rank analysis of incomplete block designs", Biometrika 39 (1952). Ties count
as half a win for each.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from seatwright.errors import RenderError

HALF_WIN = 0.5
"""Wins added to both sides of every pair where the figures would otherwise be infinite."""

_STEPS = 200
_LONGEST_STEP = 1.0
_CLOSE = 1e-10


def strengths(wins: NDArray[np.float64], added: float = 0.0) -> NDArray[np.float64]:
    """Most likely strengths.

    Parameters
    ----------
    wins : ndarray, shape (..., versions, versions)
        How often the row was put before the column; halves for ties.
    added : float
        Wins added to both sides of every pair. 0 where `is_connected`.

    Returns
    -------
    ndarray, shape (..., versions)
        Natural logarithms of odds, mean 0. By Newton's method, steps of at most 1.

    Raises
    ------
    RenderError
        If there are no finite strengths to be found.
    """
    versions = wins.shape[-1]
    won = wins + added * (1.0 - np.eye(versions))
    games = won + np.swapaxes(won, -1, -2)
    found = np.zeros(wins.shape[:-1])
    for _ in range(_STEPS):
        step = _newton(won, games, found)
        longest = np.max(np.abs(step), axis=-1, keepdims=True)
        found = found + step * np.minimum(1.0, _LONGEST_STEP / np.maximum(longest, _CLOSE))
        if np.max(longest) < _CLOSE:
            return np.asarray(found - found.mean(axis=-1, keepdims=True))
    raise RenderError("found no finite strengths: a version wins everything")


def _newton(
    won: NDArray[np.float64], games: NDArray[np.float64], now: NDArray[np.float64]
) -> NDArray[np.float64]:
    chance = expit(now[..., :, None] - now[..., None, :])
    slope = np.sum(won - games * chance, axis=-1)
    bend = games * chance * (1.0 - chance)
    versions = won.shape[-1]
    curve = np.eye(versions) * np.sum(bend, axis=-1)[..., None] - bend
    # Strengths are free up to one constant; a constant matrix holds their mean.
    solved = np.linalg.solve(curve + 1.0 / versions, slope[..., None])
    return np.asarray(solved[..., 0])


def is_connected(wins: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether finite strengths exist: no group of versions won or lost all against the others.

    Parameters
    ----------
    wins : ndarray, shape (..., versions, versions)

    Returns
    -------
    ndarray of bool, shape (...)

    Notes
    -----
    L. R. Ford, "Solution of a ranking problem from binary comparisons", American Mathematical
    Monthly 64 (1957): each version must lead to each other one over wins.
    """
    versions = wins.shape[-1]
    reach = (wins > 0.0) | np.eye(versions, dtype=np.bool_)
    for _ in range(max(1, versions - 1).bit_length()):
        reach = np.matmul(reach.astype(np.float32), reach.astype(np.float32)) > 0.0
    return np.asarray(reach.all(axis=(-1, -2)))
