"""Stems on disk: is each file what it claims, whole, and fit to be heard.

Inspecting reads headers and the last frame; scanning, verifying and hashing read everything.
Faults stop a stem and are raised all together; warnings are returned. No file is changed.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.aiff import read_aiff
from seatwright.disk.broadcast import Broadcast
from seatwright.disk.flac import flac_faults
from seatwright.disk.riff import read_layout
from seatwright.disk.stem_checks import (
    aiff_faults,
    format_faults,
    kind_fault,
    kind_of,
    layout_faults,
    place_faults,
)
from seatwright.disk.stem_reader import (
    BLOCK_FRAMES,
    FLOAT_ENCODINGS,
    Decoder,
    Stem,
    StemReader,
)
from seatwright.errors import Fault, StemError
from seatwright.sound.samples import packed_24

__all__ = [
    "Stem",
    "StemReader",
    "content_hash",
    "file_state",
    "inspect_stem",
    "inspect_stems",
    "scan_floats",
    "verify_stem",
]

DC_LIMIT_DBFS = -60.0
_FLAC_FRAMES_MAX = 2**36  # STREAMINFO holds 36 bits; libsndfile gives more for "unknown"


def inspect_stem(path: Path, *, allow_truncated: bool = False) -> tuple[Stem, list[Fault]]:
    """Check a stem's file without reading its audio, but for the last frame.

    Parameters
    ----------
    path : Path
        A WAV, RF64, AIFF, AIFF-C or FLAC file.
    allow_truncated : bool
        Take a WAV or AIFF that ends early for as long as it lasts, with a warning.

    Returns
    -------
    stem : Stem
        With the number of frames that can be read.
    warnings : list of Fault
        What wants saying but stops nothing.

    Raises
    ------
    StemError
        With every fault found.
    """
    path = Path(path)
    if faults := place_faults(path):
        raise StemError(faults)
    kind, found = kind_of(_head(path))
    if not kind:
        raise StemError(kind_fault(path, found))
    header, faults, warnings = _judged(path, kind, allow_truncated)
    if faults:
        raise StemError(faults)
    stem = _decodable(path, header)
    if stem.encoding in ("PCM_U8", "PCM_S8"):
        warnings.append(Fault("8 bits a sample: its noise will be heard", file=str(path)))
    return stem, warnings


def inspect_stems(
    paths: Iterable[Path], allow_truncated: bool = False
) -> tuple[dict[Path, Stem], list[Fault]]:
    """Check many stems and name the faults of all of them at once.

    Parameters
    ----------
    paths : iterable of Path
        A path given twice is looked at once.
    allow_truncated : bool
        As in `inspect_stem`.

    Returns
    -------
    stems : dict of Path to Stem
        In the order of `paths`.
    warnings : list of Fault
        Of all stems.

    Raises
    ------
    StemError
        With every fault of every file.
    """
    stems: dict[Path, Stem] = {}
    faults: list[Fault] = []
    warnings: list[Fault] = []
    for path in dict.fromkeys(paths):
        try:
            stems[path], more = inspect_stem(path, allow_truncated=allow_truncated)
            warnings += more
        except StemError as error:
            faults += error.faults
    if faults:
        raise StemError(faults)
    return stems, warnings


def scan_floats(stem: Stem, *, full: bool = False) -> list[Fault]:
    """Look through a float stem for numbers that are no sound, over full scale, or offset.

    Parameters
    ----------
    stem : Stem
        Stems in PCM, which hold neither NaN nor anything over full scale, are left unread.
    full : bool
        Read PCM as well, for its offset.

    Returns
    -------
    list of Fault
        Warnings: a peak over 0 dBFS; a mean over -60 dBFS in a channel.

    Raises
    ------
    StemError
        At the first NaN or Inf, with its time and channel.
    """
    if not full and stem.encoding not in FLOAT_ENCODINGS:
        return []
    peak, total = 0.0, np.zeros(stem.channels)
    with StemReader(stem, stem.rate) as reader:
        for start, frames in _stretches(stem.frames):
            block = reader.read(start, frames)
            peak = max(peak, float(np.abs(block).max()))
            total += block.sum(axis=0, dtype=np.float64)
    return _level_warnings(stem, peak, total / stem.frames)


def verify_stem(stem: Stem) -> None:
    """Decode the whole stem, and hold a FLAC against the checksum in its header.

    Parameters
    ----------
    stem : Stem
        As inspected.

    Raises
    ------
    StemError
        If a frame cannot be decoded, is missing, or the audio is not what was encoded.

    Source
    ------
    RFC 9639, 8.2: the MD5 of the samples, little endian, channels interleaved.
    """
    declared, digest = _declared_md5(stem), hashlib.md5(usedforsecurity=False)
    decoder = Decoder(stem.path)
    try:
        for start, frames in _stretches(stem.frames):
            block = decoder.read(start, frames, "int32" if declared else "float32")
            if declared:
                digest.update(_as_encoded(block, stem.encoding))
    finally:
        decoder.close()
    if declared and digest.digest() != declared:
        what = f"audio has checksum {digest.hexdigest()}, its header says {declared.hex()}"
        raise StemError(Fault(what, file=str(stem.path), hint="export the stem again"))


def content_hash(path: Path) -> str:
    """Hash a whole file, header and all.

    Parameters
    ----------
    path : Path
        A regular file of any kind.

    Returns
    -------
    str
        SHA-256 in hexadecimal, as `sha256sum` prints it.

    Raises
    ------
    StemError
        If there is no such regular file or it cannot be read.
    """
    path = Path(path)
    if faults := place_faults(path, may_be_empty=True):
        raise StemError(faults)
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise StemError(Fault(f"cannot be read: {error.strerror}", file=str(path))) from error


def file_state(path: Path) -> tuple[int, ...]:
    """What changes when a file is written or replaced: device, number, size and time.

    Raises
    ------
    StemError
        If there is no such file.
    """
    try:
        status = path.stat()
    except OSError as error:
        raise StemError(Fault(f"cannot be read: {error.strerror}", file=str(path))) from error
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(64)
    except OSError as error:
        raise StemError(Fault(f"cannot be read: {error.strerror}", file=str(path))) from error


@dataclass(frozen=True)
class _Header:
    """What a header tells of its audio: how many frames there are; None leaves it to FLAC's."""

    frames: int | None = None
    broadcast: Broadcast | None = None


def _judged(
    path: Path, kind: str, allow_truncated: bool
) -> tuple[_Header, list[Fault], list[Fault]]:
    """Read the header of a file of a known kind; what stops it and what wants saying."""
    if kind == "FLAC":
        return _Header(), flac_faults(path), []
    if kind == "AIFF":
        aiff = read_aiff(path)
        return _Header(aiff.frames_present), *aiff_faults(path, aiff, allow_truncated)
    wav = read_layout(path)
    frames = wav.data_bytes_present // max(wav.block_align, 1)
    return _Header(frames, wav.broadcast), *layout_faults(path, wav, allow_truncated)


def _decodable(path: Path, header: _Header) -> Stem:
    """Open the decoder, compare it with the header, and read the last frame."""
    decoder = Decoder(path)
    try:
        frames = decoder.frames if header.frames is None else header.frames
        faults = _flac_faults(path, decoder) if header.frames is None else []
        if not faults and decoder.frames < frames:
            what = f"the decoder finds {decoder.frames} frames, the file holds {frames}"
            faults = [Fault(what, file=str(path))]
        if faults:
            raise StemError(faults)
        decoder.read(frames - 1, 1)
    finally:
        decoder.close()
    return Stem(path, decoder.rate, decoder.channels, frames, decoder.encoding, header.broadcast)


def _flac_faults(path: Path, decoder: Decoder) -> list[Fault]:
    faults = format_faults(path, decoder.rate, decoder.channels)
    if not 0 < decoder.frames < _FLAC_FRAMES_MAX:
        what = "header states no length, expected a number of frames above 0"
        faults.append(Fault(what, file=str(path), hint="export the stem again"))
    return faults


def _stretches(frames: int) -> Iterator[tuple[int, int]]:
    for start in range(0, frames, BLOCK_FRAMES):
        yield start, min(BLOCK_FRAMES, frames - start)


def _level_warnings(stem: Stem, peak: float, means: NDArray[np.float64]) -> list[Fault]:
    warnings = []
    if peak > 1.0:
        what = f"peak of +{20 * math.log10(peak):.2f} dBFS, over full scale; kept as it is"
        warnings.append(Fault(what, file=str(stem.path)))
    for channel, mean in enumerate(np.abs(means), start=1):
        level = 20 * math.log10(mean) if mean else -math.inf
        if level > DC_LIMIT_DBFS:
            what = (
                f"constant offset of {level:.1f} dBFS in channel {channel},"
                f" expected below {DC_LIMIT_DBFS:.0f} dBFS"
            )
            warnings.append(Fault(what, file=str(stem.path)))
    return warnings


def _declared_md5(stem: Stem) -> bytes:
    """Give the checksum in a FLAC's STREAMINFO; empty for other files or if it was left out."""
    head = _head(stem.path)
    checksum = head[26:42]
    if head[:4] != b"fLaC" or stem.encoding not in ("PCM_S8", "PCM_16", "PCM_24"):
        return b""
    return checksum if any(checksum) else b""


def _as_encoded(block: NDArray[Any], encoding: str) -> bytes:
    """Give left-justified integers the bytes that the encoder was fed."""
    if encoding == "PCM_24":
        return packed_24(block >> 8).tobytes()
    kind, shift = ("<i2", 16) if encoding == "PCM_16" else ("<i1", 24)
    return (block >> shift).astype(kind).tobytes()
