"""Tails kept while one hall is worked on: a seat that moves keeps the noise of its tails.

The tail at a microphone that stands still depends on the seat's name, not on its place: what is
after the mixing time is the same from everywhere. Making it is a third of a seat's response.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.room import Room
from seatwright.acoustics.tail import diffuse_spectra

Row = NDArray[np.complex64]


class KeptTails:
    """Spectra of tails of one room, the most recently used ones; several threads may ask.

    Parameters
    ----------
    room : Room
    most_bytes : int
        Of all that is kept.
    """

    def __init__(self, room: Room, most_bytes: int):
        self._room, self._most = room, most_bytes
        self._rows: OrderedDict[tuple[object, ...], Row] = OrderedDict()
        self._bytes = 0
        self._lock = Lock()

    def spectra(
        self,
        rate: int,
        length: int,
        origins: NDArray[np.float64],
        generators: Sequence[np.random.Generator],
        still: Sequence[bool],
    ) -> NDArray[np.complex64]:
        """As `tail.diffuse_spectra` gives them, bit by bit.

        Parameters
        ----------
        rate, length, origins, generators
            As there; a generator whose tail is known is not drawn from.
        still : sequence of bool
            Of each row whether to keep it.

        Returns
        -------
        ndarray of complex, shape (rows, length // 2 + 1)
            The caller's own.
        """
        keys = [
            (rate, length, float(origin), _begin_of(generator))
            for origin, generator in zip(origins, generators, strict=True)
        ]
        with self._lock:
            known = {row: self._rows[key] for row, key in enumerate(keys) if key in self._rows}
            for row in known:
                self._rows.move_to_end(keys[row])
        spectra = np.empty((len(keys), length // 2 + 1), dtype=np.complex64)
        for row, kept in known.items():
            spectra[row] = kept
        new = [row for row in range(len(keys)) if row not in known]
        if new:
            drawn = [generators[row] for row in new]
            spectra[new] = diffuse_spectra(self._room, rate, length, origins[new], drawn)
        self._keep({keys[row]: spectra[row].copy() for row in new if still[row]})
        return spectra

    def _keep(self, rows: dict[tuple[object, ...], Row]) -> None:
        with self._lock:
            for key, row in rows.items():
                if key not in self._rows:
                    self._rows[key] = row
                    self._bytes += row.nbytes
            while self._bytes > self._most:
                self._bytes -= self._rows.popitem(last=False)[1].nbytes


def _begin_of(generator: np.random.Generator) -> str:
    """All that what a generator draws next follows from, whatever its kind."""
    return repr(generator.bit_generator.state)
