"""Loops of stems: one stretch of what plays at each seat, and where most seats sound."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import closing, suppress

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.casting import Cast
from seatwright.disk.feeds import Feed
from seatwright.errors import StemError
from seatwright.sound.loops import Loop, closed_loop, densest_stretch

SEAM_SECONDS = 0.03
"""Over which a loop's end is crossed into its beginning."""

_LOOK_SECONDS = 0.05
_MOST_LOOKS = 150


def seat_loop(cast: Cast, seat: str, first: int, frames: int) -> Loop:
    """A stretch of what plays at a seat, closed to a loop.

    Parameters
    ----------
    cast : Cast
    seat : str
    first, frames : int
        In samples at the scene's rate.

    Returns
    -------
    ndarray of float32, shape (channels, frames)

    Raises
    ------
    StemError
        If a stem is gone or broken by now.
    """
    seam = min(frames // 4, round(SEAM_SECONDS * cast.rate))
    with closing(Feed(cast.seats[seat], cast.rate)) as feed:
        return closed_loop(np.ascontiguousarray(feed.read(first, frames + seam).T), frames)


def densest_begin(
    cast: Cast, seats: Iterable[str], frames: int, progress: Callable[[float], None]
) -> int:
    """Where a stretch begins in which most seats sound, found by short looks at every stem.

    Parameters
    ----------
    cast : Cast
    seats : iterable of str
    frames : int
        Of the stretch.
    progress : callable
        Told what share of the seats was looked at.

    Returns
    -------
    int
        In samples at the scene's rate; 0 where the stretch is as long as the music.
    """
    seats = list(seats)
    last = cast.frames - frames
    if last <= 0 or not seats:
        return 0
    step = max(cast.rate // 2, -(-cast.frames // _MOST_LOOKS))
    levels = []
    for number, seat in enumerate(seats, start=1):
        with suppress(StemError):  # one that cannot be read by now is told of when it should sound
            levels.append(_looks(cast, seat, step))
        progress(number / len(seats))
    return min(last, densest_stretch(levels, max(1, frames // step)) * step)


def _looks(cast: Cast, seat: str, step: int) -> NDArray[np.float64]:
    """RMS in dB of short pieces of a seat's music, one every `step` samples."""
    length = round(_LOOK_SECONDS * cast.rate)
    found = []
    with closing(Feed(cast.seats[seat], cast.rate)) as feed:
        for start in range(0, cast.frames, step):
            piece = feed.read(start, length)
            power = float(np.mean(piece * piece, dtype=np.float64))
            found.append(10.0 * np.log10(power) if power > 0.0 else -np.inf)
    return np.array(found)
