"""The report of a render: everything that was rendered, in figures, for machines and for people.

Figures are for rendering, not for the design of rooms.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from math import isfinite, nan
from typing import Any

from seatwright.acoustics.hall_figures import FIGURE_BANDS
from seatwright.acoustics.room import Room
from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.errors import printable
from seatwright.sound.mix import CEILING_DB
from seatwright.stage.bands import BAND_NAMES
from seatwright.stage.scene import Scene
from seatwright.views.room_figures import Measured, measured_cells
from seatwright.views.text_table import text_table

REPORT_FORMAT = 1


@dataclass(frozen=True)
class StemRow:
    """A stem as it was read: file, SHA-256 of its bytes, rate in Hz, channels, frames, encoding."""

    file: str
    sha256: str
    rate: int
    channels: int
    frames: int
    encoding: str


@dataclass(frozen=True)
class OutputRow:
    """An output as it was written; loudness in LUFS, peaks after the trim, loudness range in LU."""

    file: str
    kind: str
    name: str
    sha256: str
    integrated_lufs: float
    true_peak_dbtp: float
    sample_peak_dbfs: float
    loudness_range_lu: float = nan
    follows_from: str = ""


@dataclass(frozen=True)
class RemovedRow:
    """An output of the render before in this folder that this one takes away; its SHA-256."""

    file: str
    sha256: str


@dataclass(frozen=True)
class SeatRow:
    """A seat and its figures; bearing in degrees and distance in metres from the podium."""

    seat: str
    section: str
    instrument: str
    treatment: str
    bearing: float | None
    distance: float | None
    figures: SeatFigures | None


@dataclass(frozen=True)
class HallRow:
    """The hall: metres, cubic and square metres, seconds, m/s; one T60 per octave band."""

    width: float
    depth: float
    height: float
    volume: float
    surface: float
    reverberation: dict[str, float]
    critical_distance: float
    mixing_time: float
    speed_of_sound: float


@dataclass(frozen=True)
class Report:
    """Everything about one render.

    Parameters
    ----------
    title, scene, seating : str
        The piece; path and SHA-256 of the scene file; the alternative, "" for the scene as written.
    versions : dict of str to str
        Of seatwright and of what it computes with.
    rate, frames, first_frame : int
        Of all outputs; where an excerpt begins.
    encoding : str
    head : str
        Whose head listens, and by whom it was measured; "" where no seat is heard through it.
    origin : float
        Seconds of sound travel taken away: the earliest arrival stands at sample 0 of its stem.
    response_frames : int
        Length of the impulse responses.
    trim_db : float
        On all outputs.
    hall : HallRow
    seats, stems, outputs : tuple
    warnings : tuple of str
    part : str
        Of the scene, such as "strings 0-1.5 s"; "" for the whole.
    removed : tuple of RemovedRow
    measured : Measured or None
        Room figures at the listener from the seat in the middle; None where it hears none.
    unchanged : bool
        Nothing had changed, so that nothing was written; not part of the file.
    """

    title: str
    scene: str
    scene_sha256: str
    seating: str
    versions: dict[str, str]
    rate: int
    frames: int
    first_frame: int
    encoding: str
    head: str
    origin: float
    response_frames: int
    trim_db: float
    hall: HallRow
    seats: tuple[SeatRow, ...]
    stems: tuple[StemRow, ...]
    outputs: tuple[OutputRow, ...]
    warnings: tuple[str, ...]
    part: str = ""
    removed: tuple[RemovedRow, ...] = ()
    measured: Measured | None = None
    unchanged: bool = False

    def as_json(self) -> str:
        """JSON text; figures without a value (silence, nothing to measure) are null.

        Characters that a terminal would act on stand as escapes.
        """
        facts = asdict(self)
        del facts["unchanged"]
        return json_text({"report_format": REPORT_FORMAT, **facts})


def json_text(facts: Mapping[str, Any]) -> str:
    """JSON of facts: numbers finite or null, nothing in it that a terminal would act on."""
    text = json.dumps(_finite(facts), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    return "".join(c if c.isprintable() or c == "\n" else json.dumps(c)[1:-1] for c in text)


def hall_row(room: Room) -> HallRow:
    """Figures of a room."""
    width, depth, height = room.size
    return HallRow(
        width,
        depth,
        height,
        room.volume,
        float(room.areas.sum()),
        dict(zip(BAND_NAMES, room.reverberation, strict=True)),
        room.critical_distance,
        room.mixing_time,
        room.speed,
    )


def seat_rows(
    scene: Scene, heard: tuple[str, ...], figures: Mapping[str, SeatFigures]
) -> tuple[SeatRow, ...]:
    """A row a seat that sounds."""
    rows = []
    for name in heard:
        seat = scene.seats[name]
        placed = name in figures
        bearing, distance = seat.polar_place
        rows.append(
            SeatRow(
                name,
                seat.section_name,
                seat.known_instrument.name,
                scene.treatment_of(seat),
                round(bearing, 6) if placed else None,
                round(distance, 6) if placed else None,
                figures.get(name),
            )
        )
    return tuple(rows)


def _finite(value: Any) -> Any:
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return value


def report_table(report: Report) -> str:
    """The report as text a person reads."""
    times = text_table(
        ["octave band", *report.hall.reverberation],
        [["T60 (s)", *(f"{value:.2f}" for value in report.hall.reverberation.values())]],
    )
    hall = f"{hall_line(report.hall)}\n{times}"
    if report.measured is not None:
        hall += f"\n\n{_measured_part(report.measured)}"
    parts = [_heading(report), hall, seat_table(report.seats), _output_table(report)]
    parts += warning_lines(report.warnings)
    parts.append(f"{_QUIETLY}\n{CAUTION}")
    return "\n\n".join(parts) + "\n"


def _measured_part(measured: Measured) -> str:
    names = [BAND_NAMES[band] for band in FIGURE_BANDS]
    x, y, z = measured.listener
    where = (
        f"Measured at the listener (x {x:.1f}, y {y:.1f}, {z:.1f} m up) from an omnidirectional\n"
        "source at the seat in the middle, by the definitions of ISO 3382-1"
    )
    table = text_table(["octave band", *names, "single"], measured_cells(measured))
    return f"{where}\n{table}"


_QUIETLY = "Listen at a low level first: a full orchestra is louder than one stem."

CAUTION = (
    "The figures are for rendering, not for designing rooms; there, local codes and licensed\n"
    "practice go first."
)


def warning_lines(warnings: tuple[str, ...]) -> list[str]:
    """Warnings under their heading as one part of a page; none where there are none."""
    return ["Warnings\n" + "\n".join(f"  {text}" for text in warnings)] if warnings else []


def _heading(report: Report) -> str:
    seating = f", seating {report.seating}" if report.seating else ""
    seconds = report.frames / report.rate
    excerpt = f", from {report.first_frame / report.rate:.3f} s" if report.first_frame else ""
    part = f", only {report.part}" if report.part else ""
    return printable(f"{report.title or report.scene}{seating}{part}") + (
        f"\n{seconds:.2f} s at {report.rate} Hz, {report.encoding}{excerpt}; "
        f"trim {report.trim_db:+.2f} dB on every output\n"
        f"(with --trim {report.trim_db:.6g} other renders of this scene keep these levels)"
    )


def hall_line(hall: HallRow) -> str:
    """Size, volume, surface, critical distance and mixing time in a line."""
    return (
        f"Hall {hall.width:g} x {hall.depth:g} x {hall.height:g} m: {hall.volume:.0f} m3, "
        f"{hall.surface:.0f} m2, critical distance {hall.critical_distance:.1f} m, "
        f"mixing time {hall.mixing_time * 1000:.0f} ms"
    )


SEAT_LEGEND = (
    ("bearing deg", "place seen from the podium, 0 straight upstage, + to the audience's right"),
    ("distance m", "from the podium along the floor"),
    ("level dB", "K-weighted gain of all responses by distance and balance, before it is held"),
    ("D/R dB", "direct sound to all that follows it, in the mix, 500 Hz-1 kHz"),
    ("C80 dB", "first 80 ms from the direct sound on to the rest, in the mix, 500 Hz-1 kHz"),
    ("gap ms", "direct sound to first reflection, at the tree's middle or at a head alone"),
    ("R-L dB", "direct sound alone, right minus left output, 500 Hz-1 kHz"),
    ("L-R ms", "direct sound, later left than right, at the tree or at the ears of a head alone"),
    ("heard deg", "direct sound between loudspeakers at +-30, or from the nose of a head alone"),
    (
        "belongs deg",
        "where it should be heard: +-60 from the tree on +-30; from a head alone its bearing",
    ),
)
"""What each column of figures says: which sound, over which time and band."""


def seat_legend() -> str:
    """The columns of `seat_table`, a line each."""
    return "\n".join(f"  {name:<11}  {text}" for name, text in SEAT_LEGEND)


def seat_table(seats: Sequence[SeatRow]) -> str:
    """Every seat and its figures in the mix, and what they say."""
    rows = []
    for row in seats:
        start = [printable(row.seat), printable(row.section), row.treatment]
        f = row.figures
        if f is None:
            rows.append([*start, *["-"] * len(SEAT_LEGEND)])
            continue
        rows.append(
            [*start, f"{row.bearing:.1f}", f"{row.distance:.1f}"]
            + [shown(value) for value in (f.level_db, f.direct_to_reverberant_db, f.clarity_db)]
            + [shown(f.initial_gap_ms), shown(f.lateral_db), shown(f.arrival_difference_ms, 2)]
            + [shown(f.heard_bearing), shown(f.placed_bearing)]
        )
    columns = ["seat", "section", "treatment", *(name for name, _ in SEAT_LEGEND)]
    return f"{text_table(columns, rows)}\n{seat_legend()}"


def _output_table(report: Report) -> str:
    return text_table(
        ["output", "LUFS", "LRA LU", "dBTP", "dBFS"],
        [
            [printable(row.file), shown(row.integrated_lufs), unsigned(row.loudness_range_lu)]
            + [shown(v) for v in (row.true_peak_dbtp, row.sample_peak_dbfs)]
            for row in report.outputs
        ],
    )


def unsigned(value: float, digits: int = 1) -> str:
    """A figure that is never negative; "-" where it has no value."""
    return f"{value:.{digits}f}" if isfinite(value) else "-"


def shown(value: float, digits: int = 1) -> str:
    """A figure with its sign; "-" where it has no value."""
    return f"{value:+.{digits}f}" if isfinite(value) else "-"


def trimmed(level_db: float, trim_db: float) -> float:
    """A level after the trim; silence stays silence."""
    return level_db + trim_db


def trim_warnings(outputs: tuple[OutputRow, ...]) -> list[str]:
    """Outputs above the ceiling, which a fixed trim allows."""
    return [
        f"{row.file}: true peak {row.true_peak_dbtp:+.2f} dBTP, above {CEILING_DB:g} dBTP"
        for row in outputs
        if row.true_peak_dbtp > CEILING_DB + 0.01
    ]
