"""Render: from a scene and its stems to a placed mix and section bounces, in reading order."""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import ExitStack, closing
from pathlib import Path

from seatwright.acoustics.impulse_response import Grid, response_seconds
from seatwright.acoustics.listening import Listening, earliest_arrival, listening_of, seat_plan
from seatwright.disk.bounce_folder import BounceFolder, BounceFormat, moved_broadcast
from seatwright.disk.casting import Cast
from seatwright.disk.earlier_render import whole_render
from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.output_names import folder_name
from seatwright.disk.raw_blocks import RawBlocks
from seatwright.memory_need import refuse_beyond_memory
from seatwright.pages import page_of
from seatwright.report_facts import StemHashes, report_of
from seatwright.sound.convolution import Engine
from seatwright.sound.mix import Levels, Meters, add_mix, common_trim
from seatwright.sound.spectra import Picture
from seatwright.stage.request import Request
from seatwright.stage.routing import Bus, buses_of, heard_seats
from seatwright.stage.scene import Scene
from seatwright.views.report import Report, report_table
from seatwright.voices import Voices

Progress = Callable[[str, float], None]
"""Called with what is being done and how much of it is done, 0 to 1."""


RENDERS = Path("renders")
"""Holds the folders of renders that are given none."""

BUILT, RENDERED = 0.2, 0.9
"""Shares of a render's time after which its responses are built, its blocks rendered."""


def render(
    scene_path: Path,
    folder: Path,
    request: Request | None = None,
    progress: Progress = lambda _what, _share: None,
) -> Report:
    """Render a scene into a folder.

    Parameters
    ----------
    scene_path : Path
        Scene file.
    folder : Path
        Made where missing; holds mix, bounces and reports afterwards.
    request : Request, optional
        The whole scene as 24-bit WAV by default.
    progress : callable

    Returns
    -------
    Report
        As written to report.json.

    Raises
    ------
    SeatwrightError
        SceneError, StemError, DiskError or RenderError, with every fault found; earlier outputs
        are left as they were.
    """
    request = request or Request()
    read, cast, head = read_and_cast(
        scene_path, allow_outside=request.allow_outside, allow_truncated=request.allow_truncated
    )
    scene = read.seated(request.seating)
    heard = heard_seats(scene, request.only)
    buses = buses_of(scene, heard, request.stems, request.perspectives)
    listening = listening_of(scene, head)
    grid = time_grid(scene, listening, cast)
    first, last = request.excerpt(cast.frames + grid.frames - 1, cast.rate)
    form = bounce_format(request, cast, first, last)
    inputs = [read.path, *(stem.path for stem in cast.stems)]
    threads = request.threads or os.cpu_count() or 1
    refuse_beyond_memory(scene, heard, buses, cast, grid, threads)
    whole = whole_render(folders_of_whole(scene_path, folder), str(read.path), read.content_hash)
    with ExitStack() as opened:
        outputs = opened.enter_context(BounceFolder(folder, buses, form, inputs))
        hashes = opened.enter_context(StemHashes(cast.stems))
        building = stage_of(progress, "building responses", 0.0, BUILT)
        voices = Voices(scene, heard, buses, listening, grid, cast, threads, building)
        opened.enter_context(closing(voices))
        raw = opened.enter_context(RawBlocks(outputs.folder))
        levels, pictures = rendered(
            Engine(voices, len(buses), grid.frames, threads, spare=1),  # let go when it is done
            raw,
            buses,
            cast.rate,
            (first, last),
            stage_of(progress, "rendering", BUILT, RENDERED),
        )
        trim = common_trim(levels) if request.trim_db is None else request.trim_db
        bounces = outputs.write(raw, trim, stage_of(progress, "writing", RENDERED, 1.0), threads)
        report = report_of(
            read, scene, request, cast, listening, grid, voices, form, first,
            trim, levels, bounces, hashes.finished(), outputs.superseded(), whole,
        )  # fmt: skip
        page = page_of(report, scene, listening, heard, pictures)
        outputs.commit(
            {
                "report.txt": report_table(report),
                "report.html": page,
                "report.json": report.as_json(),
            }
        )
    return report


def default_folder(scene_path: Path, request: Request) -> Path:
    """Where a render goes that is given no folder: a part of a scene never over the whole."""
    return RENDERS / folder_name(scene_path.stem, request.seating or "", request.part)


def folders_of_whole(scene_path: Path, folder: Path) -> tuple[Path, ...]:
    """Where a render of the whole scene may stand: here, beside it, where it goes by default."""
    name = default_folder(scene_path, Request()).name
    return tuple(dict.fromkeys((folder, folder.parent / name, RENDERS / name)))


def time_grid(scene: Scene, listening: Listening, cast: Cast) -> Grid:
    """Rate, length and origin of all responses, the same whichever seats are heard."""
    plans = [
        seat_plan(scene, name, cast.channels(name))
        for name, seat in scene.seats.items()
        if scene.treatment_of(seat) != "untouched"
    ]
    if not plans:
        return Grid(cast.rate, 1, 0.0)
    seconds = response_seconds(listening.room)
    return Grid(cast.rate, int(seconds * cast.rate), earliest_arrival(listening, plans))


def bounce_format(request: Request, cast: Cast, first: int, last: int) -> BounceFormat:
    """Kind, rate and length of the outputs, and the broadcast extension they carry over."""
    broadcast = moved_broadcast(cast.broadcast, (cast.timestamp or 0) + first)
    return BounceFormat(request.kind, request.encoding, cast.rate, last - first, broadcast)


def rendered(
    engine: Engine,
    raw: RawBlocks,
    buses: tuple[Bus, ...],
    rate: int,
    excerpt: tuple[int, int],
    progress: Callable[[float], None],
) -> tuple[tuple[Levels, ...], tuple[Picture, ...]]:
    """Run the engine, keep its blocks with the mix in front, and measure every output."""
    first, last = excerpt
    sections = sum(bus.kind == "sections" for bus in buses)
    with (
        closing(Meters(1 + len(buses), rate, engine.threads)) as meters,
        closing(engine.blocks(first, last)) as blocks,  # no thread reads on when this ends early
    ):
        for start, block in blocks:
            add_mix(block, sections)
            meters.add(block)
            raw.write(block)
            meters.wait()
            progress((start + block.shape[2] - first) / (last - first))
        return meters.levels, meters.pictures


def stage_of(progress: Progress, what: str, begin: float, end: float) -> Callable[[float], None]:
    """Progress of one stage as part of the whole."""
    return lambda share: progress(what, begin + share * (end - begin))
