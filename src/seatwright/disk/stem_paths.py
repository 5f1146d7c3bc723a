"""Paths of stems: which files on disk the stem names of a scene stand for.

A name may leave out its ending where one file fits, stand for a left and right file, or be
spelt in the other Unicode form. Nothing is opened here, and no two files are guessed between.
"""

from __future__ import annotations

import difflib
import os
import re
import stat
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PureWindowsPath

from seatwright.errors import Fault
from seatwright.stage.description import dotted_key

ENDINGS = (".wav", ".flac", ".aif", ".aiff", ".rf64", ".w64")
"""File name endings that may be left out."""

_MARKS = (".", "_", "-")
_SIDE = re.compile(r"(?P<base>.+[._-])(?P<side>[LR])(?P<ending>\.[^.]+)?")
StemNames = dict[str, tuple[tuple[str, str], ...]]
"""For each seat the key and the name of each of its stems."""

_MOST_NAMES = 2000
_HINTED_FAULTS = 50


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
    search = _Search(_Folders(folder))
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
class _Folders:
    """Folder listings, each read once."""

    root: Path
    listed: dict[Path, dict[str, list[str]]] = field(default_factory=dict)

    def listing(self, folder: Path) -> dict[str, list[str]]:
        """The names in a folder under their composed Unicode form."""
        if folder not in self.listed:
            names: dict[str, list[str]] = {}
            for name in _names_in(folder):
                names.setdefault(unicodedata.normalize("NFC", name), []).append(name)
            self.listed[folder] = names
        return self.listed[folder]

    def named(self, path: Path) -> list[Path]:
        """Files of exactly this name, or of its other Unicode form where there is none."""
        if _mode(path) is not None:
            return [path]
        composed = unicodedata.normalize("NFC", path.name)
        return [path.with_name(other) for other in self.listing(path.parent).get(composed, ())]

    def fitting(self, path: Path) -> list[Path]:
        """Files of this name, or with one of the known endings after it."""
        exact = self.named(path)
        if any(not is_folder(found) for found in exact) or path.suffix.lower() in ENDINGS:
            return exact
        stem = unicodedata.normalize("NFC", path.name)
        with_ending = [
            path.with_name(actual)
            for listed, actuals in self.listing(path.parent).items()
            if listed.startswith(stem) and listed[len(stem) :].lower() in ENDINGS
            for actual in actuals
        ]
        return with_ending or exact

    def nearest(self, path: Path) -> str:
        """A hint with the closest names in the folder the path points to."""
        return _nearest(path, list(self.listing(path.parent)))


@dataclass
class _Search:
    """Looks up one stem after another and gathers the faults."""

    folders: _Folders
    faults: list[Fault] = field(default_factory=list)

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
        mode = _mode(path)
        if stat.S_ISREG(mode or 0):
            return _Found(key, (path,))
        kind = "folder" if is_folder(path) else "pipe or device" if mode else "link to nothing"
        return self.refuse(key, f'found a {kind} at "{path.name}", wanted an audio file')

    def pair_for(self, key: str, name: str) -> _Found | None:
        """The left and right file that a name without its side stands for."""
        path = self.folders.root / name
        if (match := _SIDE.fullmatch(path.name)) and (others := self.other_sides(path, match)):
            return self.refuse_half(key, others[0])
        ending = path.suffix if path.suffix.lower() in ENDINGS else ""
        base = path.name.removesuffix(ending)
        pairs, halves = [], []
        for mark in _MARKS:
            left, right = (
                self.folders.fitting(path.with_name(f"{base}{mark}{side}{ending}")) for side in "LR"
            )
            if left and right:
                pairs.append((left, right))
            elif left or right:
                halves.append((left or right)[0])
        if pairs:
            return self.one_pair(key, pairs)
        if halves:
            return self.refuse_half(key, halves[0])
        hint = self.folders.nearest(path) if len(self.faults) < _HINTED_FAULTS else ""
        return self.refuse(key, f'found no file "{name}", wanted an audio file', hint)

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
            if len(paths) == 1 and (match := _SIDE.fullmatch(paths[0].name)):
                paths = self.with_other_side(stem, match, waiting, written)
            if paths:
                result.append(StemFiles(paths, " + ".join(path.name for path in paths), stem.key))
        return tuple(result)

    def with_other_side(
        self, stem: _Found, match: re.Match[str], waiting: list[_Found], written: set[Path]
    ) -> tuple[Path, ...]:
        """A file whose name ends in L or R with its other half, which leaves `waiting`."""
        path = stem.paths[0]
        others = self.other_sides(path, match)
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

    def other_sides(self, path: Path, match: re.Match[str]) -> list[Path]:
        """Files that can be the other half: of the same ending first, else of any."""
        name = match["base"] + ("R" if match["side"] == "L" else "L")
        same = self.folders.named(path.with_name(name + (match["ending"] or "")))
        return same or self.folders.fitting(path.with_name(name))

    def refuse_half(self, key: str, path: Path) -> _Found | None:
        """Note a file whose other half is missing, once for both halves."""
        match = _SIDE.fullmatch(path.name)
        base, side, ending = match.groups() if match else (path.stem, "", path.suffix)
        other = f"{base}{'R' if side == 'L' else 'L'}{ending or ''}"
        what = f"found {path.name} without {other}"
        return None if any(fault.what == what for fault in self.faults) else self.refuse(key, what)

    def refuse(self, key: str, what: str, hint: str = "") -> _Found | None:
        """Note a fault; there is no stem then."""
        self.faults.append(Fault(what, key=key, hint=hint))
        return None


def nearest_names(path: Path) -> str:
    """A hint for a path that is not there: the closest names in its folder.

    Parameters
    ----------
    path : Path
        Of a file or folder.

    Returns
    -------
    str
        The closest names, else the first of all, else which folder is empty or missing.
    """
    return _nearest(path, _names_in(path.parent))


def _nearest(path: Path, names: list[str]) -> str:
    near = difflib.get_close_matches(path.name, names[:_MOST_NAMES], n=3, cutoff=0.5)
    if near:
        return "nearest: " + ", ".join(near)
    if not names:
        state = "is empty" if is_folder(path.parent) else "does not exist"
        return f"its folder {path.parent} {state}"
    return "in its folder: " + ", ".join(names[:6]) + (", …" if len(names) > 6 else "")


def _listed(paths: Iterable[Path]) -> str:
    return " and ".join(path.name for path in paths)


def _mode(path: Path) -> int | None:
    """What kind of file a path is; None where there is none. Never waits on a pipe."""
    try:
        return path.stat().st_mode
    except (OSError, ValueError):
        return None


def is_folder(path: Path) -> bool:
    """Whether there is a folder; False for names no system could hold."""
    return stat.S_ISDIR(_mode(path) or 0)


def audio_files(folder: Path) -> list[Path]:
    """Files of a folder that their endings call audio, by name; hidden ones are left out."""
    return [
        path
        for name in _names_in(folder)
        if (path := folder / name).suffix.lower() in ENDINGS
        and not name.startswith(".")
        and stat.S_ISREG(_mode(path) or 0)
    ]


def _names_in(folder: Path) -> list[str]:
    try:
        return sorted(entry.name for entry in folder.iterdir())
    except (OSError, ValueError):
        return []
