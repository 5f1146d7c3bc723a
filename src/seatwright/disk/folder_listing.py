"""Folders of stems: which files a name in them stands for, quick however many names are asked.

Names are compared in their composed Unicode form; that of a name found is the disk's own.
"""

from __future__ import annotations

import difflib
import os
import stat
import unicodedata
from bisect import bisect_left
from dataclasses import dataclass, field
from pathlib import Path

ENDINGS = (".wav", ".flac", ".aif", ".aiff", ".rf64", ".w64")
"""File name endings that may be left out."""

_MOST_NAMES = 2000


@dataclass
class Folders:
    """Folder listings, each read once; what was looked up once is known."""

    root: Path
    listed: dict[Path, dict[str, list[str]]] = field(default_factory=dict)
    folded: dict[Path, list[str]] = field(default_factory=dict)
    found: dict[Path, list[Path]] = field(default_factory=dict)
    unlisted: set[Path] = field(default_factory=set)

    def listing(self, folder: Path) -> dict[str, list[str]]:
        """The names in a folder under their composed Unicode form."""
        if folder not in self.listed:
            names: dict[str, list[str]] = {}
            for name in names_in(folder):
                names.setdefault(unicodedata.normalize("NFC", name), []).append(name)
            self.listed[folder] = names
        return self.listed[folder]

    def lacks(self, path: Path) -> bool:
        """Whether no name in the folder even begins like this one, in whatever case and form."""
        folder, ending = path.parent, path.suffix
        if folder not in self.folded:
            self.folded[folder] = sorted(map(_folded, self.listing(folder)))
            if is_folder(folder) and not os.access(folder, os.R_OK):
                self.unlisted.add(folder)
        base = path.name.removesuffix(ending) if ending.lower() in ENDINGS else path.name
        names, begin = self.folded[folder], _folded(base)
        place = bisect_left(names, begin)
        alike = place < len(names) and names[place].startswith(begin)
        return not alike and folder not in self.unlisted and mode_of(path) is None

    def named(self, path: Path) -> list[Path]:
        """Files of exactly this name, or of its other Unicode form where there is none."""
        if mode_of(path) is not None:
            return [path]
        composed = unicodedata.normalize("NFC", path.name)
        return [path.with_name(other) for other in self.listing(path.parent).get(composed, ())]

    def fitting(self, path: Path) -> list[Path]:
        """Files of this name, or with one of the known endings after it."""
        if path not in self.found:
            self.found[path] = [] if self.lacks(path) else self.looked_up(path)
        return self.found[path]

    def looked_up(self, path: Path) -> list[Path]:
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


def mode_of(path: Path) -> int | None:
    """What kind of file a path is; None where there is none. Never waits on a pipe."""
    try:
        return path.stat().st_mode
    except (OSError, ValueError):
        return None


def is_folder(path: Path) -> bool:
    """Whether there is a folder; False for names no system could hold."""
    return stat.S_ISDIR(mode_of(path) or 0)


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
    return _nearest(path, names_in(path.parent))


def _nearest(path: Path, names: list[str]) -> str:
    near = difflib.get_close_matches(path.name, names[:_MOST_NAMES], n=3, cutoff=0.5)
    if near:
        return "nearest: " + ", ".join(near)
    if not names:
        state = "is empty" if is_folder(path.parent) else "does not exist"
        return f"its folder {path.parent} {state}"
    return "in its folder: " + ", ".join(names[:6]) + (", …" if len(names) > 6 else "")


def names_in(folder: Path) -> list[str]:
    try:
        return sorted(entry.name for entry in folder.iterdir())
    except (OSError, ValueError):
        return []


def _folded(name: str) -> str:
    """A form that names share which any system takes for one."""
    return unicodedata.normalize("NFD", unicodedata.normalize("NFD", name).casefold())
