"""Gathers what a report tells: versions, stems and their hashes, outputs and their levels."""

from __future__ import annotations

import platform
from collections.abc import Iterable, Mapping
from importlib.metadata import version
from math import inf, nan
from pathlib import Path

from seatwright import __version__
from seatwright.acoustics.bearings import bearing_doubts
from seatwright.acoustics.decay_curves import middle_seat
from seatwright.acoustics.hall_figures import hall_figures
from seatwright.acoustics.impulse_response import Grid
from seatwright.acoustics.listening import Listening
from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.disk.bounce_folder import Bounce, BounceFormat
from seatwright.disk.casting import Cast
from seatwright.disk.earlier_render import Superseded, WholeRender
from seatwright.disk.file_contents import Content
from seatwright.disk.kept_figures import kept_figures
from seatwright.disk.scene_file import ReadScene
from seatwright.disk.stem_reader import Stem
from seatwright.disk.store import Store
from seatwright.sound.mix import Levels
from seatwright.sound.samples import half_step_db
from seatwright.stage.request import Request
from seatwright.stage.routing import only_doubts
from seatwright.stage.scene import Scene
from seatwright.stage.seats import seat_sources
from seatwright.views.render_notes import (
    excerpt_notes,
    foreign_notes,
    renamed_notes,
    trim_notes,
)
from seatwright.views.report import (
    OutputRow,
    RemovedRow,
    Report,
    StemRow,
    hall_row,
    seat_rows,
    trim_warnings,
)
from seatwright.views.room_figures import Measured, measured_rows

_COMPUTED_WITH = (
    "numpy",
    "scipy",
    "soundfile",
    "soxr",
    "h5py",
    "pyroomacoustics",
    "pydantic",
)


def stem_rows(stems: Iterable[Stem], contents: Mapping[Path, Content]) -> tuple[StemRow, ...]:
    """A row a stem, with the digest of its file."""
    return tuple(
        StemRow(
            str(stem.path), contents[stem.path].sha256, stem.rate, stem.channels, stem.frames,
            stem.encoding,
        )
        for stem in stems
    )  # fmt: skip


def versions() -> dict[str, str]:
    """Of seatwright, Python and every package whose version can change a sample."""
    return {
        "seatwright": __version__,
        "python": platform.python_version(),
        **{package: version(package) for package in _COMPUTED_WITH},
    }


def output_rows(
    bounces: list[Bounce],
    levels: tuple[Levels, ...],
    trim_db: float,
    encoding: str,
    follows_from: Mapping[str, str],
) -> tuple[OutputRow, ...]:
    """Outputs with their levels after the trim; -inf where all lies below half a step.

    There 24 bits round to silence, and 16 bits hold nothing but dither.
    """
    rows = []
    for bounce, level in zip(bounces, levels, strict=True):
        held = level.sample_peak_db + trim_db > half_step_db(encoding)
        integrated, true_peak, sample_peak = (
            value + trim_db if held else -inf
            for value in (level.integrated, level.true_peak_db, level.sample_peak_db)
        )
        spread = level.loudness_range if held else nan
        rows.append(
            OutputRow(
                bounce.file, bounce.kind, bounce.name, bounce.sha256,
                integrated, true_peak, sample_peak, spread, follows_from.get(bounce.file, ""),
            )
        )  # fmt: skip
    return tuple(rows)


def head_line(scene: Scene, heard: tuple[str, ...], listening: Listening) -> str:
    """Whose head listens and whose measurement it is; "" where no seat is heard through it."""
    placed = [seat for name in heard if scene.treatment_of(seat := scene.seats[name]) == "placed"]
    if not any("head" in scene.balance_of(seat) for seat in placed):
        return ""
    head = listening.head
    return f"{head.name}: {head.credit}" if head.credit else head.name


def scene_warnings(read: ReadScene, cast: Cast, figures: Mapping[str, SeatFigures]) -> list[str]:
    """What is probably not meant in a scene and its stems, and what is heard elsewhere than meant.

    Parameters
    ----------
    read : ReadScene
    cast : Cast
    figures : mapping of str to SeatFigures
        Of the seats that are heard in the hall.

    Returns
    -------
    list of str
    """
    bearings = {name: figures[name].bearing for name in read.scene.seats if name in figures}
    doubts = map(read.located, bearing_doubts(bearings))
    return [str(fault) for fault in (*read.warnings, *cast.warnings, *doubts)]


def report_of(
    read: ReadScene,
    scene: Scene,
    request: Request,
    cast: Cast,
    listening: Listening,
    grid: Grid,
    heard: tuple[str, ...],
    figures: Mapping[str, SeatFigures],
    form: BounceFormat,
    first: int,
    trim_db: float,
    levels: tuple[Levels, ...],
    bounces: list[Bounce],
    follows_from: Mapping[str, str],
    contents: Mapping[Path, Content],
    superseded: Superseded,
    whole: WholeRender | None,
    store: Store | None,
) -> Report:
    """The report of a finished render."""
    outputs = output_rows(bounces, levels, trim_db, form.encoding, follows_from)
    seconds = (cast.frames + grid.frames - 1) / cast.rate
    warnings = [
        *scene_warnings(read, cast, figures),
        *(str(read.located(doubt)) for doubt in only_doubts(scene, request.only)),
        *excerpt_notes(request, seconds),
        *trim_notes(request, trim_db, (str(whole.folder), whole.trim_db) if whole else None),
        *foreign_notes(superseded.foreign),
        *renamed_notes((bounce.kind, bounce.name, bounce.file) for bounce in bounces),
    ]
    if form.kind == "flac" and form.broadcast is not None:
        warnings.append("FLAC cannot carry the stems' broadcast extension; WAV outputs do")
    return Report(
        title=scene.title,
        scene=str(read.path),
        scene_sha256=read.content_hash,
        seating=request.seating or "",
        versions=versions(),
        rate=cast.rate,
        frames=form.frames,
        first_frame=first,
        encoding=f"{form.kind} {form.encoding}",
        head=head_line(scene, heard, listening),
        origin=grid.origin,
        response_frames=grid.frames,
        trim_db=trim_db,
        hall=hall_row(listening.room),
        seats=seat_rows(scene, heard, figures),
        stems=stem_rows(cast.stems, contents),
        outputs=outputs,
        warnings=(*warnings, *trim_warnings(outputs)),
        part=request.part,
        removed=tuple(RemovedRow(old.file, old.sha256) for old in superseded.ours),
        measured=measured_at_listener(scene, listening, heard, store),
    )


def measured_at_listener(
    scene: Scene, listening: Listening, heard: Iterable[str], store: Store | None = None
) -> Measured | None:
    """Room figures from the seat in the middle to the listener; None where none is heard there."""
    ears = listening.ears.position
    if scene.hall.outside(ears):
        return None
    sources = {
        name: seat_sources(scene.seats[name], 1)[0]
        for name in heard
        if scene.treatment_of(scene.seats[name]) != "untouched"
    }
    seat = middle_seat(sources, ears) if sources else ""
    if not seat:
        return None
    return kept_figures(
        store,
        Measured,
        (listening, sources[seat]),
        lambda: measured_rows(ears, 1, hall_figures(listening, {seat: sources[seat]})),
    )
