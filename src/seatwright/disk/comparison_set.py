"""Versions on disk: read over one stretch at one rate, written as a set of equal length."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.bounces import BounceWriter
from seatwright.disk.stems import Stem, StemReader, inspect_stem
from seatwright.disk.text_files import refused
from seatwright.errors import DiskError, Fault

_BLOCK = 2**17
_SEED = 0
"""One dither for all versions: equal samples stay equal."""


@dataclass(frozen=True)
class VersionFile:
    """A mix that takes part.

    Parameters
    ----------
    name : str
        As it is shown.
    stem : Stem
        The mix's file.
    """

    name: str
    stem: Stem

    def frames(self, rate: int) -> int:
        """Its length in frames at a rate."""
        return -(-self.stem.frames * rate // self.stem.rate)

    def blocks(self, rate: int, frames: int) -> Iterator[NDArray[np.float32]]:
        """Its first frames at a rate, shape (n, 2), in blocks."""
        with StemReader(self.stem, rate) as reader:
            for start in range(0, frames, _BLOCK):
                yield _stereo(reader.read(start, min(_BLOCK, frames - start)))

    def excerpt(self, rate: int, first: int, frames: int) -> NDArray[np.float32]:
        """A stretch of it, shape (frames, 2); a mono mix in both channels."""
        with StemReader(self.stem, rate) as reader:
            return _stereo(reader.read(first, frames))


def version_file(
    name: str, path: Path, *, allow_truncated: bool = False
) -> tuple[VersionFile, list[Fault]]:
    """Inspect a mix.

    Returns
    -------
    version : VersionFile
    warnings : list of Fault

    Raises
    ------
    StemError
        With every fault of the file.
    """
    stem, warnings = inspect_stem(path, allow_truncated=allow_truncated)
    return VersionFile(name, stem), warnings


def write_version(path: Path, samples: NDArray[np.float32], rate: int, encoding: str) -> str:
    """Write samples of shape (frames, 2) to a WAV or FLAC; its SHA-256 in hexadecimal."""
    with BounceWriter(
        path, rate, samples.shape[1], encoding, len(samples), dither_seed=_SEED
    ) as writer:
        writer.write(samples)
    return writer.sha256


def made_folder(folder: Path) -> Path:
    """A folder that is there.

    Raises
    ------
    DiskError
        If it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise refused(folder, "cannot be made", error) from error
    return folder


def read_whole(path: Path) -> bytes:
    """A file that was just written; DiskError where the disk refuses."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise DiskError(Fault(f"cannot be read: {error.strerror}", file=str(path))) from error


def _stereo(block: NDArray[np.float32]) -> NDArray[np.float32]:
    return block if block.shape[1] == 2 else np.repeat(block, 2, axis=1)
