"""What can be wrong with a stem's file, told from its place and header alone.

Each function returns faults and raises nothing, so that one run can name them all.
Reading the audio itself is the business of the reader.
"""

from __future__ import annotations

import difflib
import stat
from pathlib import Path

from seatwright.disk.aiff import AiffLayout
from seatwright.disk.riff import FLOAT, PCM, WavLayout
from seatwright.errors import Fault

LOWEST_RATE, HIGHEST_RATE = 8_000, 384_000
_WAY_OUT = "export the stem as WAV or FLAC"
_EXPORT_OR_ALLOW = "export it again, or allow truncated stems"
_OTHER_KINDS = (
    (b"FORM", "another kind of IFF file"),
    (b"OggS", "an Ogg file"),
    (b"ID3", "an MP3 or tagged file"),
    (b"\xff\xfb", "an MP3 file"),
    (b"caff", "a CAF file"),
    (b"riff", "a Wave64 file"),
    (b"BW64", "a BW64 file"),
    (b"RIFX", "a big-endian WAV file"),
)
_SIZES = {PCM: (8, 16, 24, 32), FLOAT: (32, 64)}
_AIFF_SIZES = {
    "NONE": (8, 16, 24, 32),
    "twos": (8, 16, 24, 32),
    "sowt": (16, 24, 32),
    "raw ": (8,),
    "in24": (24,),
    "42n1": (24,),
    "in32": (32,),
    "23ni": (32,),
    "fl32": (32,),
    "FL32": (32,),
    "fl64": (64,),
    "FL64": (64,),
}
"""Bits a sample for each compression of AIFF-C that is none."""


def place_faults(path: Path, *, may_be_empty: bool = False) -> list[Fault]:
    """Tell whether the path leads to a regular file with something in it; opens nothing.

    Parameters
    ----------
    path : Path
        Where the stem should be.
    may_be_empty : bool
        Accept a file of 0 bytes.

    Returns
    -------
    list of Fault
        Empty if there is a file to read.
    """
    try:
        status = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return [_missing(path)]
    except OSError as error:
        return [Fault(f"cannot be read: {error.strerror}", file=str(path))]
    except ValueError:
        return [Fault("file name holds a NUL character", file=str(path))]
    if stat.S_ISDIR(status.st_mode):
        return [Fault("expected a stem, found a folder", file=str(path))]
    if not stat.S_ISREG(status.st_mode):
        return [Fault("expected a regular file, found a pipe, socket or device", file=str(path))]
    if status.st_size == 0 and not may_be_empty:
        return [Fault("empty file: 0 bytes", file=str(path), hint=_WAY_OUT)]
    return []


def kind_of(head: bytes) -> tuple[str, str]:
    """Tell from a file's first bytes what it is.

    Parameters
    ----------
    head : bytes
        The first bytes, 12 or more if the file has them.

    Returns
    -------
    kind : str
        "WAV", "FLAC", "AIFF" or "" for anything else.
    found : str
        What it is instead, in words; "" for a kind that is read.
    """
    if head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE":
        return "WAV", ""
    if head[:4] == b"fLaC":
        return "FLAC", ""
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        return "AIFF", ""
    for start, found in _OTHER_KINDS:
        if head.startswith(start):
            return "", found
    return "", "text" if _is_text(head) else "no audio header"


def kind_fault(path: Path, found: str) -> Fault:
    """Say that a file is none of the kinds that are read.

    Parameters
    ----------
    path : Path
        The file.
    found : str
        What it is instead, as `kind_of` says.

    Returns
    -------
    Fault
        With the way out as its hint.
    """
    return Fault(f"expected WAV, FLAC or AIFF, found {found}", file=str(path), hint=_WAY_OUT)


def format_faults(path: Path, rate: float, channels: int) -> list[Fault]:
    """Check rate and channel count, which any kind of stem must satisfy.

    Parameters
    ----------
    path : Path
        For the message.
    rate : float
        In Hz; whole numbers from 8 000 to 384 000 are accepted.
    channels : int
        1 or 2 is accepted.

    Returns
    -------
    list of Fault
        Empty if both are fine.
    """
    faults = []
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        what = f"rate of {rate:.9g} Hz, expected {LOWEST_RATE} to {HIGHEST_RATE} Hz"
        faults.append(Fault(what, file=str(path)))
    elif rate != int(rate):
        faults.append(Fault(f"rate of {rate:.9g} Hz, expected a whole number", file=str(path)))
    if channels not in (1, 2):
        hint = "split it into mono or stereo stems, or export it as mono or stereo"
        what = f"{channels} channels, expected 1 or 2"
        faults.append(Fault(what, file=str(path), hint=hint if channels else ""))
    return faults


def layout_faults(
    path: Path, layout: WavLayout, allow_truncated: bool
) -> tuple[list[Fault], list[Fault]]:
    """Judge a WAV header: its format, and its sizes against those of the file.

    Parameters
    ----------
    path : Path
        For the messages.
    layout : WavLayout
        The header as found.
    allow_truncated : bool
        Turns missing audio from a fault into a warning.

    Returns
    -------
    faults, warnings : list of Fault
        What stops the stem, and what only wants saying.
    """
    faults = format_faults(path, layout.rate, layout.channels)
    sizes = _SIZES.get(layout.format_tag)
    if sizes is None:
        what = f"coded as WAV format {layout.format_tag:#06x}, expected PCM (1) or float (3)"
        faults.append(Fault(what, file=str(path), hint=_WAY_OUT))
    elif layout.bits not in sizes:
        wanted = ", ".join(map(str, sizes))
        what = f"{layout.bits} bits a sample, expected {wanted} for this kind"
        faults.append(Fault(what, file=str(path)))
    elif layout.block_align * 8 != layout.channels * layout.bits:
        what = f"{layout.block_align} bytes a frame, expected {layout.channels * layout.bits // 8}"
        faults.append(Fault(what, file=str(path)))
    if faults:
        return faults, []
    return _size_faults(path, layout, allow_truncated)


def aiff_faults(
    path: Path, layout: AiffLayout, allow_truncated: bool
) -> tuple[list[Fault], list[Fault]]:
    """Judge an AIFF header: its format, and its sizes against those of the file.

    Parameters
    ----------
    path : Path
        For the messages.
    layout : AiffLayout
        The header as found.
    allow_truncated : bool
        Turns missing audio from a fault into a warning.

    Returns
    -------
    faults, warnings : list of Fault
        What stops the stem, and what only wants saying.
    """
    faults = format_faults(path, layout.rate, layout.channels)
    sizes = _AIFF_SIZES.get(layout.compression)
    if sizes is None:
        what = f'compressed as AIFF-C "{layout.compression}", expected PCM or float'
        faults.append(Fault(what, file=str(path), hint=_WAY_OUT))
    elif layout.bits not in sizes:
        wanted = ", ".join(map(str, sizes))
        what = f"{layout.bits} bits a sample, expected {wanted} for this kind"
        faults.append(Fault(what, file=str(path)))
    if faults:
        return faults, []
    if stopping := _no_aiff_audio(layout):
        return [Fault(stopping, file=str(path))], []
    present, declared = layout.frames_present, layout.frames_declared
    if present < declared:
        found, wanted = _lasting(present, layout.rate), _lasting(declared, layout.rate)
        hint = "" if allow_truncated else _EXPORT_OR_ALLOW
        cut = Fault(f"truncated: found {found}, expected {wanted}", file=str(path), hint=hint)
        return ([], [cut]) if allow_truncated else ([cut], [])
    over = layout.data_bytes_present // layout.block_align - declared
    if over <= 0:
        return [], []
    what = f"{_lasting(over, layout.rate)} after the declared end are left out"
    return [], [Fault(what, file=str(path), hint="export the stem again")]


def _no_aiff_audio(layout: AiffLayout) -> str:
    declared, align = layout.frames_declared, layout.block_align
    found = layout.data_bytes_present // align
    if declared == 0:
        if not found:
            return "no audio: 0 frames"
        follow = _lasting(found, layout.rate)
        return f"never finalised: the header says 0 frames, {follow} of audio follow"
    if found:
        return ""
    if layout.data_bytes_declared == 0 and layout.bytes_after >= align:
        follow = _lasting(layout.bytes_after // align, layout.rate)
        return f"never finalised: the header says 0 bytes of audio, {follow} follow"
    return f"header only: 0 frames follow, expected {_lasting(declared, layout.rate)}"


def _size_faults(
    path: Path, layout: WavLayout, allow_truncated: bool
) -> tuple[list[Fault], list[Fault]]:
    stopping = _no_audio(layout)
    if stopping:
        return [Fault(stopping, file=str(path))], []
    faults: list[Fault] = []
    warnings: list[Fault] = []
    if layout.broadcast_fault:
        warnings.append(Fault(layout.broadcast_fault, file=str(path)))
    if layout.trailing_bytes:
        more = _seconds(layout, layout.trailing_bytes)
        what = f"{layout.trailing_bytes} bytes ({more}) after the declared end are left out"
        warnings.append(Fault(what, file=str(path), hint="export the stem again"))
    if layout.has_placeholder:
        used = _seconds(layout, layout.data_bytes_present)
        what = f"length never written into the header; the file's own is used: {used}"
        warnings.append(Fault(what, file=str(path)))
    elif missing := _missing_audio(layout):
        hint = "" if allow_truncated else _EXPORT_OR_ALLOW
        cut = Fault(missing, file=str(path), hint=hint)
        (warnings if allow_truncated else faults).append(cut)
    return faults, warnings


def _no_audio(layout: WavLayout) -> str:
    if layout.data_bytes_declared == 0:
        if layout.trailing_bytes < layout.block_align:
            return "no audio: 0 frames"
        found = _seconds(layout, layout.trailing_bytes)
        return f"never finalised: the header says 0 frames, {found} of audio follow"
    if layout.data_bytes_present < layout.block_align:
        if layout.has_placeholder:
            return "header only: 0 frames follow"
        declared = _seconds(layout, layout.data_bytes_declared)
        return f"header only: 0 frames follow, expected {declared}"
    return ""


def _missing_audio(layout: WavLayout) -> str:
    declared, present = layout.data_bytes_declared, layout.data_bytes_present
    if present < declared:
        found, wanted = _seconds(layout, present), _seconds(layout, declared)
        return f"truncated: found {found}, expected {wanted}"
    over = declared % layout.block_align
    if over:
        found = _seconds(layout, present - over)
        return (
            f"cut inside a frame: found {found} and {over} bytes,"
            f" expected a multiple of {layout.block_align} bytes"
        )
    return ""


def _seconds(layout: WavLayout, data_bytes: int) -> str:
    return _lasting(data_bytes // layout.block_align, layout.rate)


def _lasting(frames: int, rate: float) -> str:
    return f"{frames / rate:.3f} s ({frames} frames)"


def _missing(path: Path) -> Fault:
    if path.is_symlink():
        return Fault(f"link to a missing file: {path.readlink()}", file=str(path))
    folder = path.parent
    try:
        names = {entry.name.casefold(): entry.name for entry in sorted(folder.iterdir())}
    except OSError:
        return Fault(f"no such file; nor can its folder be read: {folder}", file=str(path))
    close = difflib.get_close_matches(path.name.casefold(), names, n=3, cutoff=0.6)
    hint = "did you mean " + " or ".join(f'"{names[name]}"' for name in close) + "?"
    return Fault("no such file", file=str(path), hint=hint if close else "")


def _is_text(head: bytes) -> bool:
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError as error:
        text = head[: error.start].decode("utf-8") if error.start > len(head) - 4 else ""
    return bool(text) and all(letter.isprintable() or letter.isspace() for letter in text)
