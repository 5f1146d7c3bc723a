"""Mixdown: which groups of seats each output is the sum of, block by block, and what tells one
mixdown from another.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.bounce_folder import BounceFormat
from seatwright.disk.casting import Cast
from seatwright.disk.file_contents import StemContents
from seatwright.disk.group_sums import GroupSums
from seatwright.disk.raw_blocks import RawBlocks
from seatwright.disk.store_keys import key_of
from seatwright.seat_responses import SeatResponses
from seatwright.sound.convolution import Engine, block_ranges
from seatwright.sound.mix import Signal, mix_sum, section_sum
from seatwright.stage.routing import Bus, SeatGroup, routes_of, seat_groups
from seatwright.stage.scene import Scene
from seatwright.voices import Voices


@dataclass(frozen=True)
class Composition:
    """What every output is made of.

    Parameters
    ----------
    scene : Scene
        Seated.
    buses : tuple of Bus
        All outputs but the mix.
    groups : tuple of SeatGroup
    """

    scene: Scene
    buses: tuple[Bus, ...]
    groups: tuple[SeatGroup, ...]

    def feeds(self, group: int) -> tuple[int, ...]:
        """Buses that a group's signals are for: its section's, then those of its stems."""
        seats, section = self.groups[group].seats, self.groups[group].section
        stems = [Bus("stems", name) for name in seats]
        wanted = [Bus("sections", section), *(bus for bus in stems if bus in self.buses)]
        return tuple(self.buses.index(bus) for bus in wanted)

    @cached_property
    def perspectives(self) -> tuple[int, ...]:
        """Buses that take of all groups."""
        return tuple(n for n, bus in enumerate(self.buses) if bus.kind == "perspectives")

    @cached_property
    def sources(self) -> tuple[tuple[tuple[int, int], ...], ...]:
        """For each bus the groups and numbers of the signals it sums; none for perspectives."""
        found: list[list[tuple[int, int]]] = [[] for _ in self.buses]
        for group in range(len(self.groups)):
            for number, bus in enumerate(self.feeds(group)):
                found[bus].append((group, number))
        return tuple(map(tuple, found))

    def rows(self, groups: Sequence[int]) -> dict[tuple[int, int], int]:
        """Rows of an engine that renders some groups: by group and bus, -1 for perspectives."""
        own = [(group, bus) for group in groups for bus in self.feeds(group)]
        wide = [(-1, bus) for bus in self.perspectives]
        return {place: row for row, place in enumerate([*own, *wide])}

    def routes(self, rows: dict[tuple[int, int], int], group: int, seat: str) -> dict[int, str]:
        """Rows a seat feeds, and what of it each takes."""
        return {
            rows[-1 if bus in self.perspectives else group, bus]: part
            for bus, part in routes_of(self.scene, seat, self.buses).items()
        }


def composition_of(
    scene: Scene, heard: Sequence[str], buses: tuple[Bus, ...], cast: Cast
) -> Composition:
    """What the outputs of a render are made of."""
    channels = {name: cast.channels(name) for name in heard}
    return Composition(scene, buses, seat_groups(scene, heard, channels))


def group_key(
    composition: Composition,
    group: int,
    responses: SeatResponses,
    contents: StemContents,
    excerpt: tuple[int, int],
) -> str:
    """What the signals of a group follow from."""
    scene, cast = composition.scene, responses.cast
    seats = []
    for name in composition.groups[group].seats:
        placed = responses.placed(name)
        heard = responses.key(name) if placed else scene.gain_of(scene.seats[name])
        stems = tuple(
            (each.offset, *((contents.of(s.path).audio, *_form(s)) for s in each.stems))
            for each in cast.seats[name]
        )
        seats.append((heard, stems))
    alone = len(composition.feeds(group)) > 1
    return key_of("sums", responses.grid.frames, cast.rate, excerpt, alone, seats)


def _form(stem: object) -> tuple[object, ...]:
    return tuple(getattr(stem, each) for each in ("rate", "channels", "frames", "encoding"))


def output_keys(composition: Composition, keys: Sequence[str]) -> tuple[str, ...]:
    """What each output follows from, the mix first; "" for one that is not known by its groups.

    Parameters
    ----------
    composition : Composition
    keys : sequence of str
        Of the groups.
    """
    parts = [
        key_of("output", [(keys[group], number) for group, number in source]) if source else ""
        for source in composition.sources
    ]
    sections = [
        part for bus, part in zip(composition.buses, parts, strict=True) if bus.kind == "sections"
    ]
    return (key_of("mix", sections), *parts)


def output_origins(
    keys: Sequence[str], files: Sequence[str], form: BounceFormat, trim_db: float
) -> dict[str, str]:
    """What each file follows from, byte by byte; "" where that is not known."""
    facts = (form.kind, form.encoding, form.rate, form.frames, form.broadcast, trim_db)
    return {
        file: key_of("file", key, number, facts) if key else ""
        for number, (key, file) in enumerate(zip(keys, files, strict=True))
    }


@contextmanager
def mixdown_of(
    responses: SeatResponses,
    heard: Sequence[str],
    buses: tuple[Bus, ...],
    contents: StemContents,
    excerpt: tuple[int, int],
    folder: Path,
) -> Iterator[Mixdown]:
    """The mixdown of a render, with its files beside the outputs as long as it is entered."""
    store = responses.store
    composition = composition_of(responses.scene, heard, buses, responses.cast)
    groups = range(len(composition.groups))
    keys = [group_key(composition, group, responses, contents, excerpt) for group in groups]
    ranges = tuple(block_ranges(responses.grid.frames, *excerpt))
    known = not composition.perspectives  # which take of all groups
    with GroupSums(keys, folder, store, known) as sums, RawBlocks(folder) as raw:
        yield Mixdown(composition, responses, sums, raw, ranges, output_keys(composition, keys))


@dataclass(frozen=True, eq=False)
class Block:
    """All outputs of one block.

    Parameters
    ----------
    frames : int
    signals : tuple of Signal
        The mix first.
    keep : callable
        Keeps them; to be called before the next block is summed.
    """

    frames: int
    signals: tuple[Signal, ...]
    keep: Callable[[], None]

    def output(self, number: int) -> NDArray[np.float32]:
        """Samples of an output, shape (2, frames), also where it is silent."""
        signal = self.signals[number]
        return np.zeros((2, self.frames), dtype=np.float32) if signal is None else signal


class Mixdown:
    """Outputs of a render from the sums of its groups.

    Parameters
    ----------
    composition : Composition
    responses : SeatResponses
    sums : GroupSums
    raw : RawBlocks
        Holds the mix, then the perspectives.
    ranges : sequence of (int, int)
        First sample of every block and the one after its last.
    keys : sequence of str
        What each output follows from, the mix first; "" where that is not known.
    """

    def __init__(
        self,
        composition: Composition,
        responses: SeatResponses,
        sums: GroupSums,
        raw: RawBlocks,
        ranges: Sequence[tuple[int, int]],
        keys: Sequence[str],
    ):
        self.composition, self.responses, self.sums, self.raw = composition, responses, sums, raw
        self.ranges, self.keys = tuple(ranges), tuple(keys)

    def blocks(
        self, threads: int, progress: Callable[[float], None]
    ) -> Generator[Callable[[], Block], None, None]:
        """Render what is missing, block by block.

        Yields
        ------
        callable
            Sums the outputs of a block. What the block before it held may be overwritten then,
            but not yet when this is given: others may look at it until the engine is under way
            again.
        """
        missing, plan = self.sums.missing, self.composition
        rows = plan.rows(missing)
        groups = [(group, plan.groups[group]) for group in missing]
        voices = Voices(self.responses, groups, partial(plan.routes, rows), threads, progress)
        with closing(voices):
            engine = Engine(voices, len(rows), self.responses.grid.frames, threads)
            start, stop = self.ranges[0][0], self.ranges[-1][1]
            with closing(engine.blocks(start, stop)) as blocks:  # no thread reads on afterwards
                for number, (_, rendered) in enumerate(blocks):
                    yield partial(self._block, number, rendered, missing)

    def finish(self) -> None:
        """All blocks are kept: outputs can be read."""
        self.sums.finish()

    def _block(self, number: int, rendered: NDArray[np.float32], missing: Sequence[int]) -> Block:
        """Sum every output of one block.

        Parameters
        ----------
        number : int
        rendered : ndarray, shape (rows, 2, frames)
            Of the engine: the missing groups' signals, then the perspectives.
        missing : sequence of int
        """
        plan, frames = self.composition, self.ranges[number][1] - self.ranges[number][0]
        rows = plan.rows(missing)
        fresh = {group: _signals(rendered, rows, plan, group) for group in missing}

        def signal(group: int, place: int) -> Signal:
            if group in fresh:
                return fresh[group][place]
            return self.sums.signal(group, place, number, frames)

        outputs: list[Signal] = [
            section_sum(signal(*each) for each in source) for source in plan.sources
        ]
        sections = (outputs[bus] for bus, each in enumerate(plan.buses) if each.kind == "sections")
        mix = mix_sum(sections, frames)
        wide = [rendered[rows[-1, bus]] for bus in plan.perspectives]
        for bus, each in zip(plan.perspectives, wide, strict=True):
            outputs[bus] = each

        def keep() -> None:
            for group, signals in fresh.items():
                self.sums.write(group, signals)
            self.raw.write(np.stack([mix, *wide]) if wide else mix[None])

        return Block(frames, (mix, *outputs), keep)

    def read(self, output: int) -> Generator[NDArray[np.float32], None, None]:
        """All blocks of an output, shape (2, frames) each; 0 is the mix."""
        plan = self.composition
        if output == 0:
            yield from self.raw.read(0)
        elif output - 1 in plan.perspectives:
            yield from self.raw.read(1 + plan.perspectives.index(output - 1))
        else:
            for number, (first, last) in enumerate(self.ranges):
                source = plan.sources[output - 1]
                frames = last - first
                found = section_sum(self.sums.signal(*each, number, frames) for each in source)
                yield np.zeros((2, frames), np.float32) if found is None else found


def _signals(
    rendered: NDArray[np.float32],
    rows: dict[tuple[int, int], int],
    plan: Composition,
    group: int,
) -> list[Signal]:
    return [_unless_silent(rendered[rows[group, bus]]) for bus in plan.feeds(group)]


def _unless_silent(signal: NDArray[np.float32]) -> Signal:
    """None where every sample is 0; most are told by a few of them."""
    return signal if signal[:, ::997].any() or signal.any() else None
