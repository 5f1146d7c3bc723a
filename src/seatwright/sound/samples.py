"""Samples as integers: rounding to 16 or 24 bits, dither, and three-byte packing.

Conventions: full scale is 1.0; a step (LSB) of `bits` is 2**(1 - bits); arrays are
(frames, channels). Nothing here touches a file or a global random state.
"""

from __future__ import annotations

from math import inf, log10
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]


_STEP_32 = np.float32(2.0**-31)


_MOST_DITHER = 1.5
"""Steps by which dither and rounding move a sample at most."""


def half_step_db(encoding: str) -> float:
    """Half a step of PCM_16 or PCM_24 in dBFS, up to which samples round to 0; FLOAT has none."""
    bits = {"PCM_16": 16, "PCM_24": 24}.get(encoding)
    return -inf if bits is None else -20.0 * bits * log10(2.0)


def quantised(
    samples: Floats,
    bits: int,
    dither: np.random.Generator | None = None,
    peak: float = inf,
) -> tuple[NDArray[np.int32], int]:
    """Round samples to integers of `bits` bits, halves to the even one.

    Without dither the result is exact for float32 as for float64: scaling by a power of
    two changes no mantissa. Dither is the difference of two uniform numbers one step wide:
    triangular, two steps from end to end, variance 2/12 of a step squared. With the 1/12 of
    the rounding itself the error has mean 0 and variance 1/4 whatever the signal, so that
    neither depends on the music.

    Parameters
    ----------
    samples : ndarray of float32 or float64, shape (frames, channels)
        Full scale is 1.0; left as it is.
    bits : int
        16 or 24.
    dither : numpy.random.Generator or None
        Source of the dither, drawn frame by frame: blocks rounded one after the other get
        the same dither as the whole. None rounds without dither.
    peak : float
        No sample is larger, where that is known: it saves looking for those out of range.

    Returns
    -------
    integers : ndarray of int32, shape (frames, channels)
        Within -2**(bits - 1) .. 2**(bits - 1) - 1.
    overs : int
        How many samples fell outside that range and were put at its edge.

    Raises
    ------
    ValueError
        If `bits` is neither 16 nor 24, or a sample is NaN.

    Source
    ------
    S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, "Quantization and dither: a theoretical
    survey", J. Audio Eng. Soc. 40 (1992).
    """
    if bits not in (16, 24):
        raise ValueError(f"Expected 16 or 24 bits, got {bits}")
    if not samples.size:
        return np.zeros(samples.shape, np.int32), 0
    steps = _in_steps(samples, bits, dither)
    np.rint(steps, out=steps)
    highest = 2 ** (bits - 1) - 1
    inside = peak * 2.0 ** (bits - 1) + _MOST_DITHER < highest
    overs = 0 if inside else _saturated(steps, -highest - 1, highest)
    return steps.astype(np.int32), overs


def packed_24(integers: NDArray[np.int32]) -> NDArray[np.uint8]:
    """Pack integers into three bytes each, the lowest byte first, as WAV wants them.

    Parameters
    ----------
    integers : ndarray of int32, any shape
        Within -2**23 .. 2**23 - 1, as `quantised` gives them; not looked at again.

    Returns
    -------
    ndarray of uint8, shape (3 * integers.size,)
        In the order of `integers`, channels interleaved.

    """
    four = np.ascontiguousarray(integers, "<i4").view(np.uint8).reshape(-1, 4)
    three = np.empty((len(four), 3), np.uint8)
    for byte in range(3):  # three strided copies: seven times as fast as one copy of triplets
        three[:, byte] = four[:, byte]
    return three.reshape(-1)


def unpacked_24(packed: NDArray[np.uint8], out: NDArray[np.float32]) -> None:
    """Turn three bytes each, the lowest first, into floats: exactly integer / 2**23.

    Parameters
    ----------
    packed : ndarray of uint8, shape (3 * samples + 1,)
        The last byte does not matter.
    out : ndarray of float32, shape (samples,)
        Filled in place; best no more samples than fit in the processor's cache.
    """
    # every fourth byte a word reads belongs to the next sample and is shifted out
    words = np.ndarray((out.size,), "<i4", packed, 0, (3,)).astype(np.int32)
    np.left_shift(words, 8, out=words)
    out[:] = words
    np.multiply(out, _STEP_32, out=out)


def _in_steps(samples: Floats, bits: int, dither: np.random.Generator | None) -> Floats:
    """Scale to steps in a new array and add the dither, in float64 where float32 would round."""
    scale = 2.0 ** (bits - 1)
    with np.errstate(over="ignore"):  # far over full scale: infinite is over as well
        if dither is None:
            return np.multiply(samples, samples.dtype.type(scale))
        steps: Floats = np.multiply(samples, scale, dtype=np.float64)
    uniform = dither.random((*samples.shape, 2), dtype=np.float32)
    steps += uniform[..., 0]
    steps -= uniform[..., 1]
    return steps


def _saturated(steps: Floats, lowest: int, highest: int) -> int:
    """Put what is out of range at its edge, in place; returns how many samples that were."""
    least, most = float(steps.min()), float(steps.max())
    if np.isnan(least):
        raise ValueError("Expected finite samples, got NaN")
    if least >= lowest and most <= highest:
        return 0
    overs = int(np.count_nonzero(steps < lowest) + np.count_nonzero(steps > highest))
    np.clip(steps, lowest, highest, out=steps)
    return overs
