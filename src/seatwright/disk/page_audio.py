"""Audio for a page, in memory: lossless, or lossy where that would make the page too large.

Vorbis, not Opus or MP3: of what the library writes it alone goes at every rate up to about 500
kbit/s, and its stream itself states where it ends. Chromium 140s and Firefox ESR decode all three
with no sample of offset (tried), but an MP3 only by a tag that not every decoder reads.
"""

from __future__ import annotations

from io import BytesIO

import numpy as np
import soundfile
from numpy.typing import NDArray

from seatwright.errors import DiskError
from seatwright.sound.samples import quantised

_BLOCK = 4096  # the encoder keeps a whole write on its stack
BEST_QUALITY, LEAST_QUALITY = 10, 6
"""Of Vorbis, 0 to 10: nominally 500 and 192 kbit/s of stereo at 44.1 kHz. Common practice, no
source: nobody tells 6 and more from the original."""


def flac(samples: NDArray[np.float32], rate: int) -> bytes:
    """Encode to 16-bit FLAC with dither.

    Parameters
    ----------
    samples : ndarray of float32, shape (frames, channels)
        Within full scale.
    rate : int
        Samples per second.

    Returns
    -------
    bytes
        A whole file.

    Raises
    ------
    DiskError
        If the encoder refuses.
    """
    integers, _ = quantised(samples, 16, np.random.default_rng(0))
    held = BytesIO()
    try:
        soundfile.write(held, integers.astype(np.int16), rate, "PCM_16", format="FLAC")
    except (soundfile.LibsndfileError, RuntimeError) as error:
        raise DiskError(f"the FLAC encoder failed: {error}") from error
    return held.getvalue()


def vorbis(samples: NDArray[np.float32], rate: int, quality: int) -> bytes:
    """Encode to Vorbis in Ogg, which states its length to the sample and adds no delay.

    Parameters
    ----------
    samples : ndarray of float32, shape (frames, channels)
    rate : int
        Samples per second.
    quality : int
        0 to 10; as many bits as the music needs for it.

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
            compression_level=(BEST_QUALITY - quality) / BEST_QUALITY,
        ) as file:  # fmt: skip
            for start in range(0, len(samples), _BLOCK):
                file.write(samples[start : start + _BLOCK])
    except (soundfile.LibsndfileError, RuntimeError, TypeError) as error:
        raise DiskError(f"the Vorbis encoder failed: {error}; wanted --audio flac") from error
    return held.getvalue()
