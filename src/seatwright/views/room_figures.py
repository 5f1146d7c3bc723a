"""Room figures by their names, bands and usual units.

Figures are for rendering, not for the design of rooms.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from math import isfinite

from seatwright.acoustics.hall_figures import FIGURE_BANDS, RoomFigures
from seatwright.stage.bands import BAND_NAMES

_NAMED = {
    "edt": ("EDT s", 2, 1.0),
    "t20": ("T20 s", 2, 1.0),
    "t30": ("T30 s", 2, 1.0),
    "clarity_db": ("C80 dB", 1, 1.0),
    "definition": ("D50", 2, 1.0),
    "centre_time": ("Ts ms", 0, 1000.0),
    "strength_db": ("G dB", 1, 1.0),
    "early_strength_db": ("G 0-80 ms dB", 1, 1.0),
    "late_strength_db": ("G 80 ms- dB", 1, 1.0),
    "lateral_fraction": ("J_LF", 2, 1.0),
    "late_lateral_db": ("L_J dB", 1, 1.0),
    "iacc_early": ("IACC 0-80 ms", 2, 1.0),
    "iacc_late": ("IACC 80 ms-", 2, 1.0),
    "iacc": ("IACC", 2, 1.0),
}
"""Head, digits and factor of each figure."""

_SIGNED = ("clarity_db", "strength_db", "early_strength_db", "late_strength_db", "late_lateral_db")


@dataclass(frozen=True)
class Measured:
    """Figures of the hall at the listener's seat.

    Parameters
    ----------
    listener : tuple of float, shape (3,)
        Where the middle of the head is, in metres.
    places : int
        How many seats had a source.
    bands : dict of str to dict of str to float
        For each figure its value in the octave bands from 125 Hz to 8 kHz.
    single : dict of str to float
        One number a figure.
    """

    listener: tuple[float, float, float]
    places: int
    bands: dict[str, dict[str, float]]
    single: dict[str, float]


def measured_rows(
    listener: tuple[float, float, float], places: int, figures: RoomFigures
) -> Measured:
    """Figures of a hall by their names and bands."""
    bands = {
        each.name: {BAND_NAMES[b]: getattr(figures, each.name)[b] for b in FIGURE_BANDS}
        for each in fields(figures)
    }
    return Measured(listener, places, bands, figures.single())


def measured_cells(measured: Measured) -> list[list[str]]:
    """A row a figure: its head, every octave band, its single number."""
    return [
        [
            figure_head(name),
            *(figure_cell(name, value) for value in (*bands.values(), measured.single[name])),
        ]
        for name, bands in measured.bands.items()
    ]


def figure_head(figure: str) -> str:
    """A room figure's symbol and unit."""
    return _NAMED[figure][0]


def figure_cell(figure: str, value: float) -> str:
    """A room figure in its usual unit and digits; "-" where it has no value."""
    _, digits, factor = _NAMED[figure]
    if not isfinite(value):
        return "-"
    sign = "+" if figure in _SIGNED else ""
    return f"{value * factor:{sign}.{digits}f}"
