"""Render: from a scene and its stems to a placed mix and section bounces, in reading order."""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import ExitStack, closing
from pathlib import Path

from seatwright.acoustics.impulse_response import Grid, response_seconds
from seatwright.acoustics.listening import Listening, grid_origin, listening_of, seat_plan
from seatwright.disk.bounce_folder import BounceFolder, BounceFormat, moved_broadcast
from seatwright.disk.casting import Cast
from seatwright.disk.earlier_render import whole_render
from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.file_contents import StemContents
from seatwright.disk.kept_file import DamagedFile
from seatwright.disk.output_names import folder_name
from seatwright.disk.store import Store
from seatwright.errors import DiskError, Fault
from seatwright.kept_levels import keep_levels, known_levels
from seatwright.kept_reports import keep_report, report_key, standing_outputs, standing_report
from seatwright.memory_need import refuse_beyond_memory
from seatwright.mixdown import Mixdown, mixdown_of, output_origins
from seatwright.pages import page_of
from seatwright.report_facts import report_of
from seatwright.seat_responses import SeatResponses
from seatwright.sound.mix import Levels, Meters, common_trim
from seatwright.sound.spectra import Picture
from seatwright.stage.request import Request
from seatwright.stage.routing import buses_of, heard_seats
from seatwright.stage.scene import Scene
from seatwright.views.report import Report, report_table

Progress = Callable[[str, float], None]
"""Called with what is being done and how much of it is done, 0 to 1."""


RENDERS = Path("renders")
"""Holds the folders of renders that are given none."""

_DAMAGED_RESULTS = 8
"""Kept results that may turn out damaged before a render does without any."""

BUILT, RENDERED = 0.2, 0.9
"""Shares of a render's time after which its responses are built, its blocks rendered."""


def render(
    scene_path: Path,
    folder: Path,
    request: Request | None = None,
    progress: Progress = lambda _what, _share: None,
    store: Store | None = None,
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
    store : Store, optional
        Results of renders before this one, found and kept there; changes no sample.

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
    for _ in range(_DAMAGED_RESULTS):
        try:
            return _render(scene_path, folder, request, progress, store)
        except DamagedFile as damage:  # found while blocks were summed: once more without it
            if store is None or store.folder not in damage.path.parents:
                raise DiskError(Fault(f"found {damage.found}", file=str(damage.path))) from damage
            store.forget(damage)
    return _render(scene_path, folder, request, progress, None)


def _render(
    scene_path: Path, folder: Path, request: Request, progress: Progress, store: Store | None
) -> Report:
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
        contents = opened.enter_context(StemContents(cast.stems, store, threads))
        job = ""
        if store is not None:
            job = report_key(read, cast, head, request, contents.finished(), whole)
            if report := standing_report(store, job, outputs, threads):
                return report
        responses = SeatResponses(scene, listening, grid, cast, request.perspectives, store)
        mixdown = opened.enter_context(
            mixdown_of(responses, heard, buses, contents, (first, last), outputs.folder)
        )
        levels, pictures = rendered(mixdown, threads, progress)
        trim = common_trim(levels) if request.trim_db is None else request.trim_db
        origins = output_origins(mixdown.keys, outputs.files, form, trim)
        bounces = outputs.write(
            mixdown.read, trim, stage_of(progress, "writing", RENDERED, 1.0), threads,
            standing_outputs(outputs.folder, origins, store),
        )  # fmt: skip
        report = report_of(
            read, scene, request, cast, listening, grid, heard,
            responses.figures(heard, threads), form, first, trim, levels, bounces, origins,
            contents.finished(), outputs.superseded(), whole, store,
        )  # fmt: skip
        page = page_of(report, scene, listening, heard, pictures, store)
        outputs.commit(
            {
                "report.txt": report_table(report),
                "report.html": page,
                "report.json": report.as_json(),
            }
        )
    if store is not None:
        keep_report(store, job, report)
        store.shrink()
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
    return Grid(cast.rate, int(seconds * cast.rate), grid_origin(listening, plans, cast.rate))


def bounce_format(request: Request, cast: Cast, first: int, last: int) -> BounceFormat:
    """Kind, rate and length of the outputs, and the broadcast extension they carry over."""
    broadcast = moved_broadcast(cast.broadcast, (cast.timestamp or 0) + first)
    return BounceFormat(request.kind, request.encoding, cast.rate, last - first, broadcast)


def rendered(
    mixdown: Mixdown, threads: int, progress: Progress
) -> tuple[tuple[Levels, ...], tuple[Picture, ...]]:
    """Render what is missing, keep all blocks, and measure every output that is not known."""
    store, rate = mixdown.responses.store, mixdown.responses.cast.rate
    known = {
        output: found
        for output, key in enumerate(mixdown.keys)
        if (found := known_levels(store, key)) is not None
    }
    unknown = [output for output in range(len(mixdown.keys)) if output not in known]
    share = stage_of(progress, "rendering", BUILT, RENDERED)
    with (
        closing(Meters(len(unknown), rate, threads)) as meters,
        closing(mixdown.blocks(threads, stage_of(progress, "building responses", 0.0, BUILT)))
        as blocks,
    ):  # fmt: skip
        for number, summed in enumerate(blocks, start=1):
            meters.wait()  # the engine is at the next block meanwhile
            block = summed()
            meters.add([block.output(output) for output in unknown])
            block.keep()
            share(number / len(mixdown.ranges))
        measured = dict(zip(unknown, zip(meters.levels, meters.pictures, strict=True), strict=True))
    mixdown.finish()
    for output, (levels, picture) in measured.items():
        keep_levels(store, mixdown.keys[output], levels, picture)
    every = [(known | measured)[output] for output in range(len(mixdown.keys))]
    return tuple(levels for levels, _ in every), tuple(picture for _, picture in every)


def stage_of(progress: Progress, what: str, begin: float, end: float) -> Callable[[float], None]:
    """Progress of one stage as part of the whole."""
    return lambda share: progress(what, begin + share * (end - begin))
