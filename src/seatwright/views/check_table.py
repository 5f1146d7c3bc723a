"""What a check tells, for machines and for people: every seat in figures, and the hall.

Figures are for rendering, not for the design of rooms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from math import nan

from seatwright.acoustics.fold_down import FoldDown
from seatwright.acoustics.hall_figures import FIGURE_BANDS
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
    warning_lines,
)
from seatwright.views.room_figures import Measured, figure_cell, figure_head, measured_cells
from seatwright.views.stem_table import stem_part
from seatwright.views.text_table import text_table

CHECK_FORMAT = 1

_OF_SEATS = (
    "edt", "t30", "clarity_db", "definition", "centre_time", "strength_db", "lateral_fraction",
    "late_lateral_db", "iacc_early",
)  # fmt: skip


@dataclass(frozen=True)
class CheckedSeat(SeatRow):
    """A seat with its figures in the mix, and at the listener's seat as `RoomFigures.single`."""

    at_listener: dict[str, float] | None


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
        Every one.
    told : tuple of str
        As a person reads them: many of one kind in one.
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
    told: tuple[str, ...]

    def as_json(self) -> str:
        """JSON text; figures without a value are null."""
        stems = [stem.as_json() for stem in self.stems]
        plain = asdict(replace(self, stems=(), conflicts=()))
        del plain["told"]
        plain |= {"stems": stems, "conflicts": conflict_values(self.conflicts)}
        return json_text({"check_format": CHECK_FORMAT, **plain})


def check_table(check: Check) -> str:
    """A check as text a person reads."""
    parts = [_heading(check), _hall_part(check), seat_table(check.seats), *_listener_part(check)]
    parts += stem_part(check.stems)
    if check.fold_down is not None:
        parts += [conflict_part(check.conflicts), fold_part(check.fold_down)]
    return "\n\n".join([*parts, *warning_lines(check.told), CAUTION]) + "\n"


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
    rows += measured_cells(check.measured)
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
        [
            printable(row.seat),
            *(figure_cell(name, row.at_listener.get(name, nan)) for name in _OF_SEATS),
        ]
        for row in check.seats
        if row.at_listener is not None
    ]
    if not rows:
        return []
    table = text_table(["seat", *(figure_head(name) for name in _OF_SEATS)], rows)
    return [f"Each seat at the listener, with its instrument's radiation\n{table}"]


def seat_room_rows(seats: Sequence[CheckedSeat]) -> tuple[list[str], list[list[str]]]:
    """Heads and rows of a table of every seat at the listener."""
    rows = [
        [row.seat, *(figure_cell(name, row.at_listener.get(name, nan)) for name in _OF_SEATS)]
        for row in seats
        if row.at_listener is not None
    ]
    return ["seat", *(figure_head(name) for name in _OF_SEATS)], rows
