"""Which seats hide each other: from their stems, their responses and where they are heard."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.masking import (
    Powers,
    hidden_share,
    hiding_places,
    hiding_threshold,
    loudness_weights,
)
from seatwright.stage.bands import BAND_NAMES

LEAST_SHARE = 0.25
"""Hidden by less, a seat is not spoken of: in an orchestra much is covered for moments."""

MOST_CONFLICTS = 8


@dataclass(frozen=True, eq=False)
class Heard:
    """A seat as it is heard in the mix.

    Parameters
    ----------
    bearing : float
        Degrees, right positive.
    powers : ndarray, shape (8, steps)
        Early power by octave and tenth of a second; one length for all seats.
    """

    bearing: float
    powers: Powers


@dataclass(frozen=True)
class Conflict:
    """A seat that another hides.

    Parameters
    ----------
    hidden, masker : str
        Seats; of several that hide one, the masker that hides most.
    share : float
        Of the hidden one's loudness, by `sound.masking.hidden_share`.
    bands : tuple of str
        Octaves that make up most of what is hidden.
    start, stop : float
        The first long stretch in which more than half is hidden, seconds.
    hidden_bearing, masker_bearing : float
        As heard, degrees.
    threshold_db : float
        By how much a sound must be stronger to hide another this far beside it.
    also : tuple of str
        Other seats that hide it by a quarter or more, worst first.
    """

    hidden: str
    masker: str
    share: float
    bands: tuple[str, ...]
    start: float
    stop: float
    hidden_bearing: float
    masker_bearing: float
    threshold_db: float
    also: tuple[str, ...]


def conflicts(heard: Mapping[str, Heard]) -> tuple[Conflict, ...]:
    """Seats that are hidden by a quarter or more, the most hidden first.

    Parameters
    ----------
    heard : mapping of str to Heard
        Every seat that sounds.

    Returns
    -------
    tuple of Conflict
        At most eight, one for each hidden seat.
    """
    found = [conflict for name in heard if (conflict := _worst_for(name, heard)) is not None]
    found.sort(key=lambda conflict: -conflict.share)
    return tuple(found[:MOST_CONFLICTS])


def shares_hidden(name: str, own: Heard, heard: Mapping[str, Heard]) -> dict[str, float]:
    """Share of a seat that each other seat hides, by name of the other."""
    weights = loudness_weights(own.powers)
    busy = np.flatnonzero(weights.any(axis=0))
    if len(busy) == 0:
        return {}
    span = slice(int(busy[0]), int(busy[-1]) + 1)  # where it plays at all
    return {
        other: hidden_share(
            each.powers[:, span],
            own.powers[:, span],
            each.bearing - own.bearing,
            weights[:, span],
        )
        for other, each in heard.items()
        if other != name
    }


def _worst_for(name: str, heard: Mapping[str, Heard]) -> Conflict | None:
    own = heard[name]
    shares = shares_hidden(name, own, heard)
    above = sorted((o for o, s in shares.items() if s >= LEAST_SHARE), key=lambda o: -shares[o])
    if not above:
        return None
    masker = heard[above[0]]
    apart = masker.bearing - own.bearing
    places = hiding_places(masker.powers, own.powers, apart)
    return Conflict(
        hidden=name,
        masker=above[0],
        share=shares[above[0]],
        bands=tuple(BAND_NAMES[band] for band in places.bands),
        start=places.start,
        stop=places.stop,
        hidden_bearing=own.bearing,
        masker_bearing=masker.bearing,
        threshold_db=hiding_threshold(apart),
        also=tuple(above[1:]),
    )


def padded(powers: NDArray[np.float32], steps: int) -> Powers:
    """Powers with silence after them, shape (8, steps)."""
    return np.pad(powers, ((0, 0), (0, steps - powers.shape[1])))
