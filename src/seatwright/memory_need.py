"""How much memory a render needs, told before it begins, and refused where it is not to be had."""

from __future__ import annotations

from collections.abc import Sequence

from seatwright.acoustics.impulse_response import Grid
from seatwright.disk.casting import Cast
from seatwright.disk.free_memory import free_memory
from seatwright.errors import Fault, RenderError
from seatwright.mixdown import composition_of
from seatwright.sound.convolution import block_grid
from seatwright.stage.routing import Bus, routes_of
from seatwright.stage.scene import Scene

_FLOAT, _COMPLEX = 4, 8
_BUILDING = 16
"""Arrays of float32 as long as a response that building a source's responses takes at a time,
measured."""

_BESIDE = 24_000_000
"""Bytes for meters, plots and reports, measured."""

_IN_FLIGHT = 3
"""Blocks of all the engine's rows: one being rendered, one being summed, one being kept."""


def memory_need(
    scene: Scene, heard: Sequence[str], buses: tuple[Bus, ...], cast: Cast, grid: Grid, threads: int
) -> int:
    """Bytes a render takes beside the program itself.

    The spectra of all responses stay in memory, and a few blocks of all outputs; stems and
    outputs are read and written in blocks, so their length does not count.

    Parameters
    ----------
    scene : Scene
    heard : sequence of str
        Seats that sound.
    buses : tuple of Bus
        Outputs beside the mix.
    cast : Cast
    grid : Grid
        Of the responses.
    threads : int
    """
    blocks = block_grid(grid.frames)
    spectrum = _COMPLEX * (blocks.length // 2 + 1)
    placed = [n for n in heard if scene.treatment_of(scene.seats[n]) != "untouched"]
    pairs = sum(
        cast.channels(name) * len(set(routes_of(scene, name, buses).values())) for name in placed
    )
    voices = sum(cast.channels(name) for name in placed)
    kept = pairs * 2 * spectrum + voices * _FLOAT * blocks.history
    fed = sum(2 * 2 * _FLOAT * blocks.hop for name in heard if cast.channels(name) == 2)
    composition = composition_of(scene, heard, buses, cast)
    rows = len(composition.rows(range(len(composition.groups))))
    summed = 2 * 2 * rows * spectrum
    outputs = 2 * (_IN_FLIGHT * rows + 1 + len(buses)) * _FLOAT * blocks.hop
    scratch = threads * 4 * spectrum
    building = (threads + 1) * 2 * _BUILDING * _FLOAT * grid.frames
    return _BESIDE + kept + fed + max(building, summed + outputs + scratch)


def refuse_beyond_memory(
    scene: Scene, heard: Sequence[str], buses: tuple[Bus, ...], cast: Cast, grid: Grid, threads: int
) -> None:
    """Stop a render that the machine's memory cannot hold before it takes any.

    Raises
    ------
    RenderError
        Naming what it needs and what there is.
    """
    needed = memory_need(scene, heard, buses, cast, grid, threads)
    free = free_memory()
    if free is None or needed <= free:
        return
    what = f"found {_gigabytes(free)} of free memory, this render wants about {_gigabytes(needed)}"
    hint = (
        "render sections one by one with --only and the same --trim, without --stems and "
        "--perspectives, with fewer --threads, or with less reverberation"
    )
    raise RenderError(Fault(what, hint=hint))


def _gigabytes(count: int) -> str:
    return f"{count / 1e9:.2f} GB"
