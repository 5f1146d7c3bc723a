"""Inspected stems: the files of a scene looked at one by one, and every fault with its seat."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from seatwright.disk.stem_paths import StemFiles
from seatwright.disk.stems import Stem, inspect_stem, scan_floats
from seatwright.errors import Fault, StemError


@dataclass(frozen=True)
class Inspected:
    """What was found in the files of a scene.

    Parameters
    ----------
    stems : dict of Path to Stem
        Files that can be rendered.
    warnings : tuple of Fault
        With the path of the file.
    faults : tuple of Fault
        Of all other files, and of halves that are not one stem, with the key of the stem in the
        scene and the name of the file.
    """

    stems: dict[Path, Stem]
    warnings: tuple[Fault, ...]
    faults: tuple[Fault, ...]


def inspected_stems(
    files: Mapping[str, tuple[StemFiles, ...]], root: Path, allow_truncated: bool
) -> Inspected:
    """Inspect every file and scan those that hold floats; a file on two seats is read once.

    Parameters
    ----------
    files : mapping of str to tuple of StemFiles
        For each seat its stems.
    root : Path
        Folder of the stems, from where faults name them.
    allow_truncated : bool
        Take a truncated stem as far as it goes.

    Returns
    -------
    Inspected
    """
    stems: dict[Path, Stem] = {}
    warnings: list[Fault] = []
    faults: list[Fault] = []
    keys: dict[Path, str] = {}
    for stem in (stem for each in files.values() for stem in each):
        for path in stem.paths:
            keys.setdefault(path, stem.key)
    for path, key in keys.items():
        try:
            stems[path], said = _inspected(path, allow_truncated)
            warnings += said
        except StemError as error:
            name = _name(path, root)
            faults += (replace(f, what=f"{name}: {f.what}", file="", key=key) for f in error.faults)
    faults += _unequal_pairs(files, stems)
    return Inspected(stems, tuple(warnings), tuple(faults))


def _inspected(path: Path, allow_truncated: bool) -> tuple[Stem, list[Fault]]:
    stem, warnings = inspect_stem(path, allow_truncated=allow_truncated)
    return stem, warnings + scan_floats(stem)


def _name(path: Path, root: Path) -> str:
    return str(path.relative_to(root)) if path.is_relative_to(root) else str(path)


def _unequal_pairs(
    files: Mapping[str, tuple[StemFiles, ...]], stems: Mapping[Path, Stem]
) -> Iterator[Fault]:
    """Left and right files that are not one stem, though each is right by itself."""
    pairs = (stem for each in files.values() for stem in each if len(stem.paths) == 2)
    for pair in (pair for pair in pairs if all(path in stems for path in pair.paths)):
        left, right = (stems[path] for path in pair.paths)
        if left.channels != 1 or right.channels != 1:
            yield Fault(
                f"{pair.label}: found {left.channels} and {right.channels} channels, "
                "wanted a left and a right file of one channel each",
                key=pair.key,
            )
        elif (left.rate, left.frames) != (right.rate, right.frames):
            yield Fault(
                f"{pair.label}: found {left.frames} frames at {left.rate} Hz left and "
                f"{right.frames} at {right.rate} Hz right, wanted the two of one length and rate",
                key=pair.key,
            )
