"""Paths of stems: which files on disk the stem names of a scene stand for.

A name may leave out its ending where one file fits, stand for a left and right file, or be
spelt in the other Unicode form. Nothing is opened here, and no two files are guessed between.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PureWindowsPath

from seatwright.disk.folder_listing import ENDINGS, Folders, is_folder, mode_of, names_in
from seatwright.errors import Fault
from seatwright.stage.description import dotted_key

_MARKS = (".", "_", "-")
SIDE = re.compile(r"(?P<base>.+[._-])(?P<side>[LR])(?P<ending>\.[^.]+)?")
StemNames = dict[str, tuple[tuple[str, str], ...]]
"""For each seat the key and the name of each of its stems."""

HALF_HINT = "export the other side as well, or rename a file that is no half of a pair"

_Sides = tuple[list[tuple[list[Path], list[Path]]], list[Path]]
_HINTED_FAULTS = 50
_LISTED = 4


@dataclass(frozen=True)
class StemFiles:
    """The file or files of one stem.

    Parameters
    ----------
    paths : tuple of Path, shape (1,) or (2,)
        One mono or stereo file, or a left and a right one.
    label : str
        What to call it: its file name, or both names joined by " + ".
    key : str
        Where the scene names it, for example "seats.violas.stem".
    """

    paths: tuple[Path, ...]
    label: str
    key: str = field(default="", compare=False)


def stem_folder(folder: Path, stems: str) -> Path:
    """The folder of the stems, with every link followed."""
    return Path(os.path.realpath(folder / stems))


def leaving(name: str) -> str:
    """Say how a written path leaves its folder; "" when it does not, links left aside."""
    if Path(name).is_absolute() or PureWindowsPath(name).root or PureWindowsPath(name).drive:
        return "an absolute path"
    return '".."' if ".." in PureWindowsPath(name).parts else ""


def is_inside(path: Path, folder: Path) -> bool:
    """Whether a path is inside a folder once every link on the way is followed."""
    return Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder))


def find_stems(
    names: StemNames, folder: Path
) -> tuple[dict[str, tuple[StemFiles, ...]], list[Fault]]:
    """Look up the stems of every seat in their folder.

    Parameters
    ----------
    names : dict of str to tuple of (str, str)
        From `stem_names`.
    folder : Path
        Folder of the stems.

    Returns
    -------
    files : dict of str to tuple of StemFiles
        For each seat its stems in the order written; without those that have a fault.
    faults : list of Fault
        Missing files, halves without the other, and names that fit several files.
    """
    search = _Search(Folders(folder))
    searched = {
        seat: [search.stem(key, name) for key, name in stems] for seat, stems in names.items()
    }
    singles = [
        stem.paths[0]
        for stems in searched.values()
        for stem in stems
        if stem is not None and len(stem.paths) == 1
    ]
    files = {
        seat: search.paired([stem for stem in stems if stem is not None], set(singles))
        for seat, stems in searched.items()
    }
    return files, search.faults


def stem_names(seats: Mapping[str, str | list[str]]) -> StemNames:
    """Key and name of each stem, from what stands at `stem` of each seat."""
    return {
        seat: ((dotted_key("seats", seat, "stem"), stem),)
        if isinstance(stem, str)
        else tuple(
            (dotted_key("seats", seat, "stem", str(number)), name)
            for number, name in enumerate(stem)
        )
        for seat, stem in seats.items()
    }


@dataclass(frozen=True)
class _Found:
    """A stem that was looked up, with the key it is written at."""

    key: str
    paths: tuple[Path, ...]


@dataclass
class _Search:
    """Looks up one stem after another and gathers the faults."""

    folders: Folders
    faults: list[Fault] = field(default_factory=list)
    sides: dict[Path, _Sides] = field(default_factory=dict)
    lonely: set[str] = field(default_factory=set)

    def stem(self, key: str, name: str) -> _Found | None:
        if not Path(name).name:
            return self.refuse(key, f'found "{name}", wanted the name of an audio file')
        paths = self.folders.fitting(self.folders.root / name)
        if len(paths) == 1:
            return self.regular(key, paths[0])
        if len(paths) > 1:
            return self.refuse(key, f"found {_listed(paths)}, wanted one", "write its ending")
        return self.pair_for(key, name)

    def regular(self, key: str, path: Path) -> _Found | None:
        mode = mode_of(path)
        if stat.S_ISREG(mode or 0):
            return _Found(key, (path,))
        kind = "folder" if is_folder(path) else "pipe or device" if mode else "link to nothing"
        return self.refuse(key, f'found a {kind} at "{path.name}", wanted an audio file')

    def pair_for(self, key: str, name: str) -> _Found | None:
        """The left and right file that a name without its side stands for."""
        path = self.folders.root / name
        if (match := SIDE.fullmatch(path.name)) and (
            others := other_halves(self.folders, path, match)
        ):
            return self.refuse_half(key, others[0])
        if self.folders.lacks(path):
            return self.missing(key, name)
        pairs, halves = self.sides_of(path)
        if pairs:
            return self.one_pair(key, pairs)
        if halves:
            return self.refuse_half(key, halves[0])
        return self.missing(key, name)

    def missing(self, key: str, name: str) -> _Found | None:
        """Note that there is no such file."""
        path = self.folders.root / name
        hint = self.folders.nearest(path) if len(self.faults) < _HINTED_FAULTS else ""
        return self.refuse(key, f'found no file "{name}", wanted an audio file', hint)

    def sides_of(self, path: Path) -> _Sides:
        """Left and right files that a name without its side can stand for, and lonely halves."""
        if path not in self.sides:
            ending = path.suffix if path.suffix.lower() in ENDINGS else ""
            base = path.name.removesuffix(ending)
            self.sides[path] = pairs, halves = [], []
            for mark in _MARKS:
                left, right = (
                    self.folders.fitting(path.with_name(f"{base}{mark}{side}{ending}"))
                    for side in "LR"
                )
                if left and right:
                    pairs.append((left, right))
                elif left or right:
                    halves.append((left or right)[0])
        return self.sides[path]

    def one_pair(self, key: str, pairs: list[tuple[list[Path], list[Path]]]) -> _Found | None:
        every = [path for left, right in pairs for path in (*left, *right)]
        if len(every) > 2:
            return self.refuse(key, f"found {_listed(every)}, wanted one pair")
        if all(self.regular(key, path) for path in every):
            return _Found(key, tuple(every))
        return None

    def paired(self, stems: list[_Found], written: set[Path]) -> tuple[StemFiles, ...]:
        """Join the left and right files of one seat; `written` are the files any seat names."""
        result, waiting = [], list(stems)
        while waiting:
            stem = waiting.pop(0)
            paths = stem.paths
            if len(paths) == 1 and (match := SIDE.fullmatch(paths[0].name)):
                paths = self.with_other_side(stem, match, waiting, written)
            if paths:
                result.append(StemFiles(paths, " + ".join(path.name for path in paths), stem.key))
        return tuple(result)

    def with_other_side(
        self, stem: _Found, match: re.Match[str], waiting: list[_Found], written: set[Path]
    ) -> tuple[Path, ...]:
        """A file whose name ends in L or R with its other half, which leaves `waiting`."""
        path = stem.paths[0]
        others = other_halves(self.folders, path, match)
        here = [found for found in waiting if found.paths[0] in others]
        if not here and any(other in written for other in others):
            return (path,)  # left and right sit on seats of their own
        halves = [found.paths[0] for found in here] or others
        if not halves:
            self.refuse_half(stem.key, path)
            return ()
        if len(halves) > 1:
            self.refuse(stem.key, f"found {_listed(halves)}, wanted one of them")
            return ()
        if here:
            waiting.remove(here[0])
        return (path, halves[0]) if match["side"] == "L" else (halves[0], path)

    def refuse_half(self, key: str, path: Path) -> _Found | None:
        """Note a file whose other half is missing, once for both halves."""
        what = lonely_half(path)
        if what not in self.lonely:
            self.lonely.add(what)
            self.refuse(key, what, HALF_HINT)
        return None

    def refuse(self, key: str, what: str, hint: str = "") -> _Found | None:
        """Note a fault; there is no stem then."""
        self.faults.append(Fault(what, key=key, hint=hint))
        return None


def other_halves(folders: Folders, path: Path, match: re.Match[str]) -> list[Path]:
    """Files that can be the other half: of the same ending first, else of any.

    Parameters
    ----------
    folders : Folders
    path : Path
        Of a file that ends in L or R.
    match : re.Match
        Its name by `SIDE`.
    """
    name = match["base"] + ("R" if match["side"] == "L" else "L")
    same = folders.named(path.with_name(name + (match["ending"] or "")))
    return same or folders.fitting(path.with_name(name))


def lonely_half(path: Path) -> str:
    """What is said of a file whose other half is missing."""
    match = SIDE.fullmatch(path.name)
    base, side, ending = match.groups() if match else (path.stem, "", path.suffix)
    other = f"{base}{'R' if side == 'L' else 'L'}{ending or ''}"
    return f"found {path.name} without {other}"


def _listed(paths: Iterable[Path]) -> str:
    names = [path.name for path in paths]
    more = [f"{len(names) - _LISTED} more"] if len(names) > _LISTED else []
    return " and ".join([*names[:_LISTED], *more])


def audio_files(folder: Path) -> list[Path]:
    """Files of a folder that their endings call audio, by name; hidden ones are left out."""
    return [
        path
        for name in names_in(folder)
        if (path := folder / name).suffix.lower() in ENDINGS
        and not name.startswith(".")
        and stat.S_ISREG(mode_of(path) or 0)
    ]
