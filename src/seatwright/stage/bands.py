"""The octave bands every absorption, level and decay is given in.

Conventions: nine bands, base-2 mid-band frequencies 62.5 Hz to 16 kHz, written 63 to 16k.
"""

from __future__ import annotations

from collections.abc import Sequence

OCTAVE_BANDS: tuple[float, ...] = tuple(1000.0 * 2.0**octave for octave in range(-4, 5))
"""Mid-band frequencies in Hz (IEC 61260-1 base-two system)."""

BAND_NAMES: tuple[str, ...] = ("63", "125", "250", "500", "1k", "2k", "4k", "8k", "16k")

Bands = tuple[float, ...]
"""One value per octave band, shape (9,)."""

_FIRST_BAND = {1: 0, 6: 1, 7: 1, 8: 0, 9: 0}
"""Which band a list of that many values starts at: 6 = 125-4k, 7 = 125-8k, 8 = 63-8k, 9 = all."""

ACCEPTED_COUNTS = (
    "1 value, or 6 (125 Hz-4 kHz), 7 (125 Hz-8 kHz), 8 (63 Hz-8 kHz) or 9 (63 Hz-16 kHz)"
)


def extended(values: Sequence[float]) -> Bands:
    """Extend a published list of band values to all nine bands, flat beyond its ends.

    Parameters
    ----------
    values : sequence of float
        One value for all bands, or 6 (125-4k), 7 (125-8k), 8 (63-8k) or 9 (63-16k) values.

    Returns
    -------
    tuple of float, shape (9,)

    Raises
    ------
    ValueError
        On any other number of values.
    """
    if len(values) not in _FIRST_BAND:
        raise ValueError(f"found {len(values)} band values, wanted {ACCEPTED_COUNTS}")
    if len(values) == 1:
        return (float(values[0]),) * len(OCTAVE_BANDS)
    first = _FIRST_BAND[len(values)]
    missing = len(OCTAVE_BANDS) - first - len(values)
    return (*(values[0],) * first, *map(float, values), *(values[-1],) * missing)
