"""What a check tells, for machines and for people: every seat in figures, and the hall.

Figures are for rendering, not for the design of rooms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields, replace
from math import isfinite, nan

from seatwright.acoustics.fold_down import FoldDown
from seatwright.acoustics.hall_figures import FIGURE_BANDS, RoomFigures
from seatwright.errors import printable
from seatwright.sound.inspection import StemInspection
from seatwright.stage.bands import BAND_NAMES
from seatwright.views.conflict_table import Pair, conflict_part, conflict_values, fold_part
from seatwright.views.report import (
    CAUTION,
    HallRow,
    SeatRow,
    hall_line,
    json_text,
    seat_table,
    shown,
    warning_lines,
)
from seatwright.views.stem_table import stem_part
from seatwright.views.text_table import text_table

CHECK_FORMAT = 1

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
_OF_SEATS = (
    "edt", "t30", "clarity_db", "definition", "centre_time", "strength_db", "lateral_fraction",
    "late_lateral_db", "iacc_early",
)  # fmt: skip


@dataclass(frozen=True)
class CheckedSeat(SeatRow):
    """A seat with its figures in the mix, and at the listener's seat as `RoomFigures.single`."""

    at_listener: dict[str, float] | None


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


@dataclass(frozen=True)
class Check:
    """A scene that can be rendered, and what it will sound like.

    Parameters
    ----------
    title, scene, seating : str
        The piece, the path of its scene, the alternative ("" for the scene as written).
    rate, frames : int
        Of the outputs a render would give.
    hall : HallRow
        As predicted.
    measured : Measured or None
        Nothing where all seats are untouched.
    seats : tuple of CheckedSeat
    stems : tuple of StemInspection
        As read from end to end; empty where only headers were read.
    conflicts : tuple of (Conflict, Parting)
        Seats that others hide, with a move each.
    fold_down : FoldDown or None
        The mix in mono; None where only headers were read.
    warnings : tuple of str
    """

    title: str
    scene: str
    seating: str
    rate: int
    frames: int
    hall: HallRow
    measured: Measured | None
    seats: tuple[CheckedSeat, ...]
    stems: tuple[StemInspection, ...]
    conflicts: tuple[Pair, ...]
    fold_down: FoldDown | None
    warnings: tuple[str, ...]

    def as_json(self) -> str:
        """JSON text; figures without a value are null."""
        stems = [stem.as_json() for stem in self.stems]
        plain = asdict(replace(self, stems=(), conflicts=()))
        plain |= {"stems": stems, "conflicts": conflict_values(self.conflicts)}
        return json_text({"check_format": CHECK_FORMAT, **plain})


def measured_rows(
    listener: tuple[float, float, float], places: int, figures: RoomFigures
) -> Measured:
    """Figures of a hall by their names and bands."""
    bands = {
        each.name: {BAND_NAMES[b]: getattr(figures, each.name)[b] for b in FIGURE_BANDS}
        for each in fields(figures)
    }
    return Measured(listener, places, bands, figures.single())


def check_table(check: Check) -> str:
    """A check as text a person reads."""
    parts = [_heading(check), _hall_part(check), seat_table(check.seats), *_listener_part(check)]
    parts += stem_part(check.stems)
    if check.fold_down is not None:
        parts += [conflict_part(check.conflicts), fold_part(check.fold_down)]
    return "\n\n".join([*parts, *warning_lines(check.warnings), CAUTION]) + "\n"


def _heading(check: Check) -> str:
    seating = f", seating {check.seating}" if check.seating else ""
    return printable(f"{check.title or check.scene}{seating}") + (
        f"\nno faults; renders to {check.frames / check.rate:.2f} s at {check.rate} Hz"
    )


def _hall_part(check: Check) -> str:
    names = [BAND_NAMES[band] for band in FIGURE_BANDS]
    predicted = [check.hall.reverberation[name] for name in names]
    middle = (check.hall.reverberation["500"] + check.hall.reverberation["1k"]) / 2.0
    rows = [["T60 s, predicted", *(f"{v:.2f}" for v in predicted), f"{middle:.2f}"]]
    if check.measured is None:
        return f"{hall_line(check.hall)}\n{text_table(['octave band', *names, 'single'], rows)}"
    for figure, values in check.measured.bands.items():
        single = check.measured.single[figure]
        rows.append([_NAMED[figure][0], *(_cell(figure, v) for v in (*values.values(), single))])
    x, y, z = check.measured.listener
    where = (
        f"Measured at the listener (x {x:.1f}, y {y:.1f}, {z:.1f} m up), mean over\n"
        f"{check.measured.places} seats with an omnidirectional source; single: over the bands of "
        "ISO 3382-1"
    )
    table = text_table(["octave band", *names, "single"], rows)
    return f"{hall_line(check.hall)}\n{where}\n{table}"


def _listener_part(check: Check) -> list[str]:
    rows = [
        [printable(row.seat), *(_cell(name, row.at_listener.get(name, nan)) for name in _OF_SEATS)]
        for row in check.seats
        if row.at_listener is not None
    ]
    if not rows:
        return []
    table = text_table(["seat", *(_NAMED[name][0] for name in _OF_SEATS)], rows)
    return [f"Each seat at the listener, with its instrument's radiation\n{table}"]


def _cell(figure: str, value: float) -> str:
    _, digits, factor = _NAMED[figure]
    if figure in _SIGNED:
        return shown(value * factor, digits)
    return f"{value * factor:.{digits}f}" if isfinite(value) else "-"


def figure_head(figure: str) -> str:
    """A room figure's symbol and unit."""
    return _NAMED[figure][0]


def figure_cell(figure: str, value: float) -> str:
    """A room figure in its usual unit and digits; "-" where it has no value."""
    return _cell(figure, value)


def seat_room_rows(seats: Sequence[CheckedSeat]) -> tuple[list[str], list[list[str]]]:
    """Heads and rows of a table of every seat at the listener."""
    rows = [
        [row.seat, *(_cell(name, row.at_listener.get(name, nan)) for name in _OF_SEATS)]
        for row in seats
        if row.at_listener is not None
    ]
    return ["seat", *(_NAMED[name][0] for name in _OF_SEATS)], rows
