"""How strongly an instrument radiates in each direction, per octave band.

The hook that every direct sound and every reflection passes through. All instruments radiate
alike in all directions for now: the gains are 1 whatever the direction.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seatwright.stage.bands import OCTAVE_BANDS
from seatwright.stage.seats import Source


def radiation(source: Source, directions: NDArray[np.float64]) -> NDArray[np.float64]:
    """Amplitude an instrument radiates, relative to its mean over all directions.

    Parameters
    ----------
    source : Source
        Its instrument and the way it faces.
    directions : ndarray, shape (..., 3)
        Unit vectors from the source, in the scene's frame.

    Returns
    -------
    ndarray, shape (..., 9)
        Linear amplitude per octave band; the mean square over the sphere is 1.
    """
    return np.ones((*directions.shape[:-1], len(OCTAVE_BANDS)))
