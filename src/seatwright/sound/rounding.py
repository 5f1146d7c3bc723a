"""How far apart a sum and its parts may stand when each of them was rounded for itself.

Conventions: full scale is 1.0; bounds are magnitudes. Whatever lies beyond a bound was not made by
rounding.
"""

from __future__ import annotations

from math import log2, sqrt

import numpy as np

_ROUNDING = 2.0**-24
"""Largest relative error of rounding to float32."""

_SMALLEST = float(np.finfo(np.float32).tiny)
_STEPS = {"PCM_16": (2.0**-15, 1.5), "PCM_24": (2.0**-23, 0.5), "FLOAT": (0.0, 0.0)}
"""Size of a step, and by how many a sample moves: half a one, and one more by triangular dither."""

_PER_STAGE = 0.6
_STAGES = 3
_CREST = 7.0
"""Gaussian noise goes beyond it once in 4e11 samples."""


def rounding_error(encoding: str) -> float:
    """By how much writing in an encoding moves a sample at most.

    Parameters
    ----------
    encoding : str
        "PCM_16", which is dithered; "PCM_24", which is rounded; "FLOAT", which is neither.
    """
    step, moved = _STEPS[encoding]
    return step * moved


def sum_error(encoding: str, parts: int) -> float:
    """How far a written sum may stand from the sum of its written parts, whatever their level.

    Parameters
    ----------
    encoding : str
        Of all of them.
    parts : int

    Returns
    -------
    float
        To which comes `relative_error` of the samples' own magnitudes.
    """
    return (parts + 1) * (rounding_error(encoding) + _SMALLEST)


def relative_error() -> float:
    """Part of a magnitude by which each rounding to float32 moves it, read back with steps added.

    A part is rounded when the trim is put on; the sum when it is taken and when the trim is.
    """
    return _ROUNDING * (1.0 + 2.0**-10)


def transform_error(length: int) -> float:
    """Part of the summed peaks by which sums rendered apart may differ, beside `sum_error`.

    Outputs rendered for themselves went through transforms of their own. The error of a fast
    transform in float32 is like noise, in root mean square 0.6 sqrt(log2 N) roundings of 2**-23
    times that of the signal; here a forward transform of signal and of response and an inverse one
    follow each other, and a peak of noise is taken as 7 times its root mean square.

    Parameters
    ----------
    length : int
        Of the transforms, in samples.

    Source
    ------
    J. C. Schatzman, "Accuracy of the discrete Fourier transform and the fast Fourier transform",
    SIAM J. Sci. Comput. 17 (1996); the factor from memory.
    """
    return _CREST * sqrt(_STAGES) * _PER_STAGE * sqrt(log2(length)) * 2.0 * _ROUNDING
