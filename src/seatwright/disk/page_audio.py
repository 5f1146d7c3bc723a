"""Audio for a page: a small lossy copy where the lossless one would make the page too large."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import soundfile
from numpy.typing import NDArray

from seatwright.errors import DiskError

_BLOCK = 4096  # the encoder keeps a whole write on its stack
_COMPRESSION = 0.2
"""Of 0 to 1: nominal quality 8 of 10, about 256 kbit/s of stereo at 48 kHz."""


def vorbis(samples: NDArray[np.float32], rate: int) -> bytes:
    """Encode to Vorbis in Ogg, which states its length to the sample and adds no delay.

    Parameters
    ----------
    samples : ndarray of float32, shape (frames, channels)
    rate : int
        Samples per second.

    Returns
    -------
    bytes
        A whole file. Its stream number is drawn by the encoder: the bytes differ from run to run,
        the sound does not.

    Raises
    ------
    DiskError
        If the encoder refuses.
    """
    held = BytesIO()
    try:
        with soundfile.SoundFile(
            held, "w", rate, samples.shape[1], "VORBIS", format="OGG",
            compression_level=_COMPRESSION,
        ) as file:  # fmt: skip
            for start in range(0, len(samples), _BLOCK):
                file.write(samples[start : start + _BLOCK])
    except (soundfile.LibsndfileError, RuntimeError, TypeError) as error:
        raise DiskError(f"the Vorbis encoder failed: {error}; wanted --audio flac") from error
    return held.getvalue()
