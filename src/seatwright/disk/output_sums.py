"""Do outputs add up: sections to the mix, stems to their sections, perspectives to the mix.

Files are read side by side in blocks, so memory does not grow with their length.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.listed_render import ListedFile, ListedRender
from seatwright.disk.stems import StemReader, inspect_stem
from seatwright.sound.rounding import relative_error, sum_error

Samples = NDArray[np.float64]
_BLOCK = 2**15


@dataclass(frozen=True)
class Addends:
    """An output and those it should be the sum of.

    Parameters
    ----------
    whole : ListedFile
    parts : tuple of ListedFile
    apart : bool
        Rendered for themselves: the engine's own rounding comes between them as well.
    """

    whole: ListedFile
    parts: tuple[ListedFile, ...]
    apart: bool


@dataclass(frozen=True)
class Difference:
    """Between an output and the sum of its parts.

    Parameters
    ----------
    largest, allowed : float
        Full scale is 1.0; at the sample where most of what is allowed is used up.
    frame : int
        Where that is.
    """

    largest: float
    allowed: float
    frame: int

    @property
    def holds(self) -> bool:
        """Whether rounding explains it."""
        return self.largest <= self.allowed


def addends_of(render: ListedRender) -> list[Addends]:
    """Every sum that a render's outputs should give."""
    mix, sections = render.outputs[0], render.of_kind("sections")
    sums = [Addends(mix, sections, False)] if sections else []
    for section in sections:
        stems = tuple(
            stem
            for stem in render.of_kind("stems")
            if render.sections.get(stem.name) == section.name
        )
        sums += [Addends(section, stems, True)] if stems else []
    perspectives = render.of_kind("perspectives")
    return sums + ([Addends(mix, perspectives, True)] if perspectives else [])


def difference(
    folder: Path,
    addends: Addends,
    encoding: str,
    apart_error: float = 0.0,
) -> Difference:
    """Read an output and its parts and compare.

    Parameters
    ----------
    folder : Path
    addends : Addends
        Of one length and rate.
    encoding : str
        Of all of them.
    apart_error : float
        Part of the summed peaks that is allowed beside the rounding of the encoding.

    Raises
    ------
    StemError
        If a file cannot be read to its end.
    """
    files = (addends.whole, *addends.parts)
    fixed = sum_error(encoding, len(addends.parts))
    with ExitStack() as opened:
        stems = [inspect_stem(folder / listed.file)[0] for listed in files]
        readers = [opened.enter_context(StemReader(stem, stem.rate)) for stem in stems]
        found = _Found(len(files))
        for start in range(0, stems[0].frames, _BLOCK):
            found.add(readers, start, min(_BLOCK, stems[0].frames - start))
    allowed = fixed + found.own + apart_error * float(found.peaks.sum())
    return Difference(found.largest, allowed, found.frame)


class _Found:
    """The sample at which the difference is largest beyond what its own magnitudes allow."""

    def __init__(self, files: int):
        self.peaks = np.zeros(files)
        self.largest, self.own, self.frame = 0.0, 0.0, 0
        self._excess = -np.inf

    def add(self, readers: Sequence[StemReader], start: int, frames: int) -> None:
        whole = readers[0].read(start, frames).astype(np.float64)
        rest, sizes = whole.copy(), 2.0 * np.abs(whole)
        self.peaks[0] = max(self.peaks[0], np.abs(whole).max())
        for number, reader in enumerate(readers[1:], start=1):
            part = reader.read(start, frames)
            rest -= part
            size = np.abs(part)
            sizes += size
            self.peaks[number] = max(self.peaks[number], size.max())
        np.abs(rest, out=rest)
        sizes *= relative_error()
        self._keep_worst(rest, sizes, start)

    def _keep_worst(self, rest: Samples, own: Samples, start: int) -> None:
        place = np.unravel_index(int(np.argmax(rest - own)), rest.shape)
        excess = float(rest[place] - own[place])
        if excess > self._excess:
            self._excess, self.frame = excess, start + int(place[0])
            self.largest, self.own = float(rest[place]), float(own[place])
