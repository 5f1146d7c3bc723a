"""Inspecting stems from end to end: one pass over each file, several files at a time."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Protocol

import numpy as np

from seatwright.disk.casting import Cast
from seatwright.disk.file_contents import known_state
from seatwright.disk.stem_reader import Stem, StemReader
from seatwright.disk.stems import inspect_stem as checked_stem
from seatwright.disk.stems import inspect_stems as checked_stems
from seatwright.errors import Fault, StemError
from seatwright.side_by_side import side_by_side
from seatwright.sound.inspection import StemInspection, StemMeter

BLOCK_FRAMES = 2**18
"""Short ones fit the cache; between the steps of long ones fewer waits for the interpreter."""

_SECONDS_PER_SAMPLE = 15e-9
"""About what a full inspection takes; a figure of 2026."""


class Shelf(Protocol):
    """Where inspections are kept from one command to the next."""

    def found(self, stem: Stem) -> StemInspection | None:
        """The full inspection of this very file, None where there is none."""

    def keep(self, stem: Stem, inspection: StemInspection) -> None:
        """Keep a full inspection; must not fail for a full disk or the like."""


def inspect_audio(reader: StemReader, levels: bool = True) -> StemInspection:
    """Read a stem through and measure it.

    Parameters
    ----------
    reader : StemReader
        At the stem's own rate, or at the one the figures are wanted for.
    levels : bool
        False leaves loudness, true peak and octaves out, which take half of the time.

    Returns
    -------
    StemInspection

    Raises
    ------
    StemError
        If the file ends early, cannot be decoded, or holds NaN or Inf.
    """
    stem, meter = reader.stem, StemMeter(reader.rate, reader.stem.channels, levels)
    for start in range(0, reader.frames, BLOCK_FRAMES):
        meter.add(reader.read(start, min(BLOCK_FRAMES, reader.frames - start)))
    broadcast = stem.broadcast
    return StemInspection(
        file=str(stem.path),
        rate=reader.rate,
        channels=stem.channels,
        bits=_bits(stem.encoding),
        encoding=stem.encoding,
        start_seconds=broadcast.time_reference / stem.rate if broadcast else None,
        sound=meter.figures,
    )


def inspect_sound(
    stems: Iterable[Path] | Cast,
    threads: int = 2,
    progress: Callable[[float], None] = lambda _share: None,
    shelf: Shelf | None = None,
) -> list[StemInspection]:
    """Inspect many stems at once.

    Parameters
    ----------
    stems : iterable of Path, or Cast
        A path given twice is read once.
    threads : int
        Files read at the same time; does not change the result.
    progress : callable
        Told what share of the stems is read, 0 to 1.
    shelf : Shelf, optional
        Stems it knows are not read again; what is read is put there. Called by all threads.

    Returns
    -------
    list of StemInspection
        In the order given.

    Raises
    ------
    StemError
        With every fault of every file.
    """
    if threads < 1:
        raise StemError(Fault(f"found {threads} threads, wanted 1 or more"))
    found = stems.stems if isinstance(stems, Cast) else tuple(checked_stems(stems)[0].values())
    tried = _inspected(found, True, threads, shelf, progress)
    faults = [fault for one in tried if isinstance(one, StemError) for fault in one.faults]
    if faults:
        raise StemError(faults)
    return [one for one in tried if isinstance(one, StemInspection)]


def inspect_readable(
    paths: Iterable[Path], threads: int = 2, shelf: Shelf | None = None
) -> tuple[dict[Path, StemInspection], dict[Path, StemError]]:
    """Inspect what can be read of many files, without loudness, true peak and octaves.

    With a shelf everything is measured, as a check will ask for it.

    Parameters
    ----------
    paths : iterable of Path
    threads : int
        Files read at the same time; does not change the result.
    shelf : Shelf, optional
        As in `inspect_sound`.

    Returns
    -------
    inspected : dict of Path to StemInspection
    refused : dict of Path to StemError
        Files no render would take, with every fault.
    """
    refused: dict[Path, StemError] = {}
    stems: dict[Path, Stem] = {}
    every = list(dict.fromkeys(paths))
    for path in every:
        try:
            stems[path] = checked_stem(path)[0]
        except StemError as error:
            refused[path] = error
    found = _inspected(tuple(stems.values()), shelf is not None, threads, shelf)
    tried = dict(zip(stems, found, strict=True))
    refused |= {path: one for path, one in tried.items() if isinstance(one, StemError)}
    inspected = {path: one for path, one in tried.items() if isinstance(one, StemInspection)}
    return inspected, {path: refused[path] for path in every if path in refused}


def _inspected(
    stems: Sequence[Stem],
    levels: bool,
    threads: int,
    shelf: Shelf | None,
    progress: Callable[[float], None] = lambda _share: None,
) -> list[StemInspection | StemError]:
    """What is known of each stem, or why it cannot be read."""
    found: dict[int, StemInspection | StemError] = {}
    if shelf is not None:
        known = ((place, shelf.found(stem)) for place, stem in enumerate(stems))
        found = {place: one for place, one in known if one is not None}
    asked = [place for place in range(len(stems)) if place not in found]
    before = {place: known_state(stems[place].path) for place in asked}
    samples = sum(stems[place].frames * stems[place].channels for place in asked)
    _hold_memory()
    progress(len(found) / max(1, len(stems)))
    tried = side_by_side(
        lambda place: _tried(stems[place], levels), asked, threads, samples * _SECONDS_PER_SAMPLE
    )
    with closing(tried):
        for place, one in zip(asked, tried, strict=True):
            found[place] = one
            unchanged = known_state(stems[place].path) == before[place]  # its turn may come late
            if shelf is not None and unchanged and isinstance(one, StemInspection):
                shelf.keep(stems[place], one)
            progress(len(found) / len(stems))
    return [found[place] for place in range(len(stems))]


def _hold_memory() -> None:
    """Have the C library keep what is freed between two steps of work, 64 MB at most.

    Else it gives each block's memory back to the system and asks for it again, page by page, which
    takes a tenth of all time. Its limits follow the largest piece it has seen freed (glibc, malloc
    tunables); elsewhere this does nothing. Nothing is touched here, so it costs no memory.
    """
    np.empty(2**25 - 2**16, np.uint8)


def _tried(stem: Stem, levels: bool) -> StemInspection | StemError:
    try:
        with StemReader(stem, stem.rate) as reader:
            return inspect_audio(reader, levels)
    except StemError as error:
        return error


def _bits(encoding: str) -> int:
    """Bits a sample of an encoding as libsndfile names them."""
    if encoding in ("FLOAT", "DOUBLE"):
        return 32 if encoding == "FLOAT" else 64
    digits = re.search(r"\d+$", encoding)
    return int(digits.group()) if digits else 0
