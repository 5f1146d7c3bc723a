"""Check: every fault of a scene and its stems at once, else what each seat will sound like."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection
from contextlib import closing
from dataclasses import fields, replace
from math import dist
from pathlib import Path

from seatwright.acoustics.hall_figures import (
    hall_figures,
    measured_places,
    seat_room_figures,
)
from seatwright.acoustics.listening import (
    Listening,
    SeatPlan,
    listening_of,
    middle_source,
    seat_plan,
)
from seatwright.acoustics.octave_transfer import OctaveTransfer, octave_transfer
from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.disk.casting import Cast
from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.inspection_shelf import InspectionShelf
from seatwright.disk.scene_file import ReadScene
from seatwright.disk.stem_inspection import inspect_sound
from seatwright.disk.stem_reader import FLOAT_ENCODINGS
from seatwright.disk.store import Store
from seatwright.errors import Fault
from seatwright.heard_mix import heard_mix
from seatwright.pages import refuse_page_place, write_check_page
from seatwright.render import time_grid
from seatwright.report_facts import scene_warnings
from seatwright.seat_responses import BuiltSeat, SeatResponses
from seatwright.side_by_side import side_by_side
from seatwright.sound.gathered_doubts import gathered
from seatwright.sound.inspection import StemInspection
from seatwright.sound.inspection_warnings import same_audio_warnings, stem_warnings
from seatwright.stage.description import dotted_key
from seatwright.stage.routing import heard_seats
from seatwright.stage.scene import Scene
from seatwright.stage.seat_rules import NEAREST_MICROPHONE
from seatwright.views.check_table import Check, CheckedSeat
from seatwright.views.report import SeatRow, hall_row, seat_rows
from seatwright.views.room_figures import Measured, measured_rows

_SEAT_SECONDS = 0.05
"""About what a seat's responses and octaves take one thread; a figure of 2026."""


def check(
    scene_path: Path,
    seating: str | None = None,
    *,
    allow_truncated: bool = False,
    allow_outside: bool = False,
    headers_only: bool = False,
    threads: int = 0,
    progress: Callable[[str, float], None] = lambda _what, _share: None,
    page: Path | None = None,
    store: Store | None = None,
) -> Check:
    """Check a scene and its stems, and compute what a render would sound like in figures.

    Parameters
    ----------
    scene_path : Path
        Scene file.
    seating : str, optional
        An alternative of the scene.
    allow_truncated, allow_outside : bool
        As for a render.
    headers_only : bool
        Do not listen to the stems: no inspection, no conflicts.
    threads : int
        0: one a processor. Never changes a figure.
    progress : callable
        Called with what is being done and how much of it is done, 0 to 1.
    page : Path, optional
        Where to write the check as HTML too.
    store : Store, optional
        Inspections and responses of commands before this one, found and kept there; a render
        finds them too. Changes no figure.

    Returns
    -------
    Check

    Raises
    ------
    SeatwrightError
        SceneError or StemError, with every fault of the scene and of its stems; DiskError where
        the page cannot be written.
    """
    read, cast, head = read_and_cast(
        scene_path, allow_outside=allow_outside, allow_truncated=allow_truncated
    )
    if page is not None:
        refuse_page_place(page, [read.path, *(stem.path for stem in cast.stems)])
    scene = read.seated(seating)
    listening = listening_of(scene, head)
    heard = heard_seats(scene, ())
    grid = time_grid(scene, listening, cast)
    plans = placed_plans(scene, heard, cast)
    threads = threads or os.cpu_count() or 1
    stems = () if headers_only else heard_stems(cast, threads, progress, store)
    responses = SeatResponses(scene, listening, grid, cast, store=store)
    mixed = mix_figures(responses, plans, threads, lambda s: progress("seats", 0.6 * s))
    figures = {name: seat for name, (seat, _) in mixed.items()}
    mix = None
    if stems:
        transfers = {name: transfer for name, (_, transfer) in mixed.items()}
        mix = heard_mix(
            scene, listening, grid, cast, heard, stems, figures, transfers, threads,
            lambda share: progress("conflicts", share),
        )  # fmt: skip
    at_listener, measured = listener_figures(scene, listening, plans, threads)
    progress("hall", 1.0)
    rows = seat_rows(scene, heard, figures)
    doubts = stem_doubts(cast, stems)
    before = scene_warnings(read, cast, figures)
    behind = [str(read.located(fault)) for fault in (mix.doubts if mix else ())]
    found = Check(
        title=scene.title,
        scene=str(read.path),
        seating=seating or "",
        rate=cast.rate,
        frames=cast.frames + grid.frames - 1,
        hall=hall_row(listening.room),
        measured=measured,
        seats=tuple(_checked(row, at_listener.get(row.seat)) for row in rows),
        stems=stems,
        conflicts=mix.conflicts if mix else (),
        fold_down=mix.fold_down if mix else None,
        warnings=(*before, *seat_lines(read, doubts), *behind),
        told=(*before, *seat_lines(read, gathered(doubts, stems)), *behind),
    )
    if page is not None:
        write_check_page(page, found, scene, listening)
    return found


def heard_stems(
    cast: Cast,
    threads: int,
    progress: Callable[[str, float], None],
    store: Store | None = None,
) -> tuple[StemInspection, ...]:
    """Every stem read from end to end, but for those that a store knows."""
    shelf = InspectionShelf(store) if store else None
    return tuple(inspect_sound(cast, threads, lambda share: progress("stems", share), shelf))


def stem_doubts(cast: Cast, stems: tuple[StemInspection, ...]) -> list[Fault]:
    """Warnings about the stems' sound, each with the key of the first seat that plays it.

    Starts that differ and offsets of float stems are left out: the cast tells of them.
    """
    doubts = [
        fault
        for stem in stems
        for fault in stem_warnings(stem, offset=stem.encoding not in FLOAT_ENCODINGS)
    ]
    seats: dict[str, str] = {}
    for name, playing in cast.seats.items():
        for file in (str(stem.path) for each in playing for stem in each.stems):
            seats.setdefault(file, name)
    return [
        replace(doubt, key=dotted_key("seats", seats[doubt.file], "stem"))
        for doubt in [*doubts, *same_audio_warnings(stems)]
    ]


def seat_lines(read: ReadScene, doubts: list[Fault]) -> list[str]:
    """Doubts about stems in words, each at the line of its key."""
    named = [
        replace(doubt, what=f"{Path(doubt.file).name}: {doubt.what}") if doubt.file else doubt
        for doubt in doubts
    ]
    return [str(read.located(doubt)) for doubt in named]


def placed_plans(scene: Scene, heard: tuple[str, ...], cast: Cast) -> dict[str, SeatPlan]:
    """Plans of the seats that are heard in the hall: all but untouched ones."""
    return {
        name: seat_plan(scene, name, cast.channels(name))
        for name in heard
        if scene.treatment_of(scene.seats[name]) != "untouched"
    }


def mix_figures(
    responses: SeatResponses,
    names: Collection[str],
    threads: int,
    progress: Callable[[float], None],
) -> dict[str, tuple[SeatFigures, OctaveTransfer]]:
    """Figures of seats from the very responses a render would convolve, and their octaves."""

    def measured(built: BuiltSeat) -> tuple[SeatFigures, OctaveTransfer]:
        return built.figures, octave_transfer(built.parts["mix"], responses.grid.rate)

    def known(name: str) -> tuple[SeatFigures, OctaveTransfer] | None:
        built = responses.found(name)
        return None if built is None else measured(built)

    def computed(name: str) -> tuple[BuiltSeat, OctaveTransfer]:
        built = responses.computed(name)
        return built, measured(built)[1]

    looked_up = zip(names, side_by_side(known, names, threads), strict=True)
    found = {name: each for name, each in looked_up if each is not None}
    missing = [name for name in names if name not in found]
    with closing(side_by_side(computed, missing, threads, len(missing) * _SEAT_SECONDS)) as results:
        for name, (built, transfer) in zip(missing, results, strict=True):
            found[name] = responses.keep(name, built).figures, transfer
            progress(len(found) / len(names))
    return {name: found[name] for name in names}


def listener_figures(
    scene: Scene, listening: Listening, plans: dict[str, SeatPlan], threads: int
) -> tuple[dict[str, dict[str, float]], Measured | None]:
    """Room figures at the listener: of every seat, and of the hall.

    Nothing where the listener is outside the hall, which a scene without the head perspective
    may leave so; a seat as near to the listener as no seat may be to a microphone is left out.
    """
    ears = listening.ears.position
    sources = {name: middle_source(plan) for name, plan in plans.items()}
    far = {
        name: source
        for name, source in sources.items()
        if dist(source.position, ears) >= NEAREST_MICROPHONE
    }
    if not far or scene.hall.outside(ears):
        return {}, None
    seats = seat_room_figures(listening, far, threads)
    places = measured_places(far)
    hall = hall_figures(listening, places, threads)
    return seats, measured_rows(ears, len(places), hall)


def _checked(row: SeatRow, at_listener: dict[str, float] | None) -> CheckedSeat:
    return CheckedSeat(
        **{each.name: getattr(row, each.name) for each in fields(row)}, at_listener=at_listener
    )
