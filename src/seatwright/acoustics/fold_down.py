"""What is left of a mix in mono, and how alike its channels are at low frequencies.

Estimated from stems and responses, without rendering: stems of different seats are taken as
unrelated.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seatwright.errors import Fault
from seatwright.stage.bands import BAND_NAMES
from seatwright.stage.description import dotted_key

LEAST_CORRELATION = -0.2
"""Of left and right in the octaves of 63 and 125 Hz: what two omnis 2 m apart have of a diffuse
field at 125 Hz, sin(kd)/kd. Below it bass cancels in mono, on one bass loudspeaker, on a record."""

_LOW = (0, 1)
_LEAST_SHARE = 0.01


@dataclass(frozen=True)
class FoldDown:
    """Of the whole mix, octaves from 63 Hz to 8 kHz.

    Parameters
    ----------
    change_db : tuple of float, shape (8,)
        Power of (left + right) / sqrt 2 over that of left and right: 0 for channels that are
        alike, -3 for unrelated ones, less where they cancel; nan without sound.
    overall_db : float
        The same over all octaves.
    correlation : tuple of float, shape (8,)
        Of left and right, -1 to 1.
    """

    change_db: tuple[float, ...]
    overall_db: float
    correlation: tuple[float, ...]


def fold_down(outputs: Mapping[str, NDArray[np.complex128]]) -> FoldDown:
    """Fold a mix down to mono.

    Parameters
    ----------
    outputs : mapping of str to ndarray, shape (8, 2, 2)
        Of every seat: energies left and right and what they share.

    Returns
    -------
    FoldDown
    """
    total = _total(outputs)
    energy = np.trace(total, axis1=1, axis2=2).real
    mono = energy / 2.0 + total[:, 0, 1].real
    with np.errstate(divide="ignore", invalid="ignore"):
        change = 10.0 * np.log10(np.maximum(mono, 0.0) / energy)
        overall = 10.0 * np.log10(mono.sum() / energy.sum())
    return FoldDown(tuple(change.tolist()), float(overall), tuple(_correlation(total).tolist()))


def low_phase_doubts(outputs: Mapping[str, NDArray[np.complex128]]) -> list[Fault]:
    """Warnings where the low octaves of the mix are not alike left and right.

    One for each octave that holds sound, with the seat that takes most from the correlation.
    """
    total = _total(outputs)
    energy = np.trace(total, axis1=1, axis2=2).real
    faults = []
    for band, found in zip(_LOW, _correlation(total)[list(_LOW)], strict=True):
        if energy[band] <= _LEAST_SHARE * energy.sum() or found >= LEAST_CORRELATION:
            continue
        worst = min(outputs, key=lambda name: _missing(outputs[name][band]))
        faults.append(
            Fault(
                f"left and right of the mix correlate by {found:+.2f} in the octave of "
                f"{BAND_NAMES[band]} Hz, wanted {LEAST_CORRELATION} or more: bass cancels in mono; "
                "most of it comes from here",
                key=dotted_key("seats", worst),
                hint="a louder tree centre, a narrower tree or more of close draws bass together",
            )
        )
    return faults


def _total(outputs: Mapping[str, NDArray[np.complex128]]) -> NDArray[np.complex128]:
    return np.asarray(np.sum(np.stack(list(outputs.values())), axis=0))


def _correlation(total: NDArray[np.complex128]) -> NDArray[np.float64]:
    size = np.sqrt((total[:, 0, 0] * total[:, 1, 1]).real)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(total[:, 0, 1].real / size)


def _missing(matrix: NDArray[np.complex128]) -> float:
    """What a seat adds to the shared energy, less what it would need to add."""
    return float(matrix[0, 1].real - LEAST_CORRELATION * np.trace(matrix).real / 2.0)
